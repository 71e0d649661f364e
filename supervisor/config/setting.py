"""A channel as set: the line file's range and accuracy over the profile's."""

from __future__ import annotations

from drivers.points import Point
from supervisor.config.mistakes import Where
from supervisor.config.model import ChannelTable
from supervisor.config.points import UNIT_KINDS, parse_range
from supervisor.config.profile import DeviceProfile
from supervisor.core.setup import Accuracy
from supervisor.trade.thermocouple import range_c
from supervisor.units import parse_accuracy


def channel_unit(table: ChannelTable, point: Point) -> str:
    """The unit of what the channel shows: its point's, or degC where that is a thermocouple's voltage."""
    return "degC" if table.thermocouple is not None else point.unit


def channel_span(table: ChannelTable | None, profiles: dict[str, DeviceProfile]) -> tuple[float, float] | None:
    """What the channel can measure, lowest and highest, in its unit; None where that is not known."""
    profile = profiles.get(table.device) if table else None
    point = profile.points.get(table.point) if table and profile else None
    if table is None or point is None or not point.unit:
        return None
    if table.range is not None:
        return parse_range(table.range, UNIT_KINDS[channel_unit(table, point)], (), _tell_nobody)
    return range_c(table.thermocouple) if table.thermocouple is not None else (point.low, point.high)


def channel_accuracy(table: ChannelTable, profile: DeviceProfile) -> Accuracy:
    """The channel's limit of error. KeyError where neither the channel nor the profile gives one."""
    if table.accuracy is None:
        return profile.accuracies[table.point]
    kind = UNIT_KINDS[channel_unit(table, profile.points[table.point])]
    return Accuracy(*parse_accuracy(table.accuracy, kind, channel_span(table, {table.device: profile})))


def _tell_nobody(where: Where, problem: str, right: str) -> None:
    """For a range whose mistakes are told elsewhere."""
