"""The worst delay of an off command, first try, from the line file alone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from drivers.catalog import drivers
from drivers.modbus_frames import frame_gap_s
from drivers.points import DeviceMap, LinkSettings, SerialSettings, TcpSettings

OWN_WORK_S = 0.020
"""What the supervisor itself may take from decision to first byte."""

SLOW_OFF_S = 0.5
"""A worst off delay above this is refused unless the file allows it."""


@dataclass(frozen=True, slots=True)
class OffDelay:
    """The worst delay of one output's off command, first try, with its parts; all in seconds of wire time.

    Attributes:
        blocked_s: what may be on the wire already: the link's longest transaction, or its response time-out.
        quiet_s: the silence kept after it: the longest worst answer on the link, as it may have been a time-out; over
            TCP with the settling of the new connection.
        ahead_s: offs of the other outputs on the link that are as urgent.
        own_s: this output's own off transaction.
        work_s: the supervisor's own work.
    """

    blocked_s: float
    quiet_s: float
    ahead_s: float
    own_s: float
    work_s: float = OWN_WORK_S

    @property
    def total_s(self) -> float:
        """The sum."""
        return self.blocked_s + self.quiet_s + self.ahead_s + self.own_s + self.work_s


def longest_exchange_s(link: LinkSettings, device: DeviceMap) -> float:
    """The device's longest exchange and the silence after it, s, when it takes its worst time to answer."""
    return drivers()[device.driver].times(link, device).longest_s


def longest_answer_s(link: LinkSettings, device: DeviceMap) -> float:
    """The device's longest single answer with its request and the silence after it, s; a transaction may be several."""
    times = drivers()[device.driver].times(link, device)
    return times.longest_s if times.answer_s is None else times.answer_s


def settling_s(link: LinkSettings) -> float:
    """How long a link settles before it serves again after a time-out, s: over TCP the connection is then a new one."""
    return link.settle_s if link.opens_each_scan or isinstance(link, TcpSettings) else 0.0


def off_delay(
    link: LinkSettings, device: DeviceMap, on_link: Iterable[DeviceMap], urgent: Mapping[str, int]
) -> OffDelay:
    """Work out the worst off delay of an output of `device`, with all the devices on its link.

    `urgent` counts the outputs of each device whose off may be sent first: all of them in the worst case.
    """
    devices = list(on_link)
    times = {other.name: drivers()[other.driver].times(link, other) for other in devices}
    gap_s = frame_gap_s(link.baud) if isinstance(link, SerialSettings) else 0.0
    offs_s = sum(urgent.get(other.name, 0) * times[other.name].command_s for other in devices)
    return OffDelay(
        blocked_s=max(*(each.longest_s for each in times.values()), link.response_time_out_s),
        quiet_s=max(gap_s, link.quiet_after_silence_s) + settling_s(link),
        ahead_s=offs_s - times[device.name].command_s,
        own_s=times[device.name].command_s,
    )
