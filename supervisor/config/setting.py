"""A channel as set: the line file's range and accuracy over the profile's."""

from __future__ import annotations

from supervisor.config.mistakes import Where
from supervisor.config.model import ChannelTable
from supervisor.config.profile import UNIT_KINDS, DeviceProfile, parse_range
from supervisor.core.setup import Accuracy
from supervisor.units import parse_accuracy


def channel_span(table: ChannelTable | None, profiles: dict[str, DeviceProfile]) -> tuple[float, float] | None:
    """What the channel can measure, lowest and highest, in its unit; None where that is not known."""
    profile = profiles.get(table.device) if table else None
    point = profile.points.get(table.point) if table and profile else None
    if table is None or point is None or not point.unit:
        return None
    if table.range is None:
        return point.low, point.high
    return parse_range(table.range, UNIT_KINDS[point.unit], (), _tell_nobody)


def channel_accuracy(table: ChannelTable, profile: DeviceProfile) -> Accuracy:
    """The channel's limit of error. KeyError where neither the channel nor the profile gives one."""
    if table.accuracy is None:
        return profile.accuracies[table.point]
    return Accuracy(*parse_accuracy(table.accuracy, UNIT_KINDS[profile.points[table.point].unit]))


def _tell_nobody(where: Where, problem: str, right: str) -> None:
    """For a range whose mistakes are told elsewhere."""
