"""The worst delay of an off command, first try, from the line file alone."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from drivers.modbus_frames import REQUEST_LENGTH, frame_gap_s, read_answer_length, wire_time_s
from drivers.registers import BIT_TABLES, DeviceMap, LinkSettings, Point, contiguous

WRITE_ANSWER_BYTES = REQUEST_LENGTH
"""A device confirms a write by sending its request back."""

OWN_WORK_S = 0.020
"""What the supervisor itself may take from decision to first byte."""

SLOW_OFF_S = 0.5
"""A worst off delay above this is refused unless the file allows it."""


@dataclass(frozen=True, slots=True)
class OffDelay:
    """The worst delay of one output's off command, first try, with its parts; all in seconds of wire time.

    Attributes:
        blocked_s: what may be on the wire already: the link's longest transaction, or its response time-out.
        quiet_s: the silence kept after it: the longest worst answer on the link, as it may have been a time-out.
        ahead_s: off transactions of the other supplies on the link.
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


def transaction_s(baud: int, answer_bytes: int, worst_answer_s: float = 0.0) -> float:
    """Request, wait, answer and the silence after it, s. The wait is at least the 3.5 characters before an answer."""
    frames_s, gap_s = wire_time_s(baud, REQUEST_LENGTH + answer_bytes), frame_gap_s(baud)
    return frames_s + max(gap_s, worst_answer_s) + gap_s


def read_answer_bytes(group: tuple[Point, ...]) -> int:
    """Length of the answer to one read of this group of adjacent points."""
    count = group[-1].address - group[0].address + 1
    return read_answer_length(count, bits=group[0].table in BIT_TABLES)


def longest_transaction_s(baud: int, device: DeviceMap) -> float:
    """The longest of the device's reads and writes, s, when it takes its worst time to answer."""
    reads = [read_answer_bytes(group) for group in contiguous(device.points.values())]
    return transaction_s(baud, max([*reads, WRITE_ANSWER_BYTES]), device.worst_answer_s)


def off_delay(link: LinkSettings, device: DeviceMap, on_link: Iterable[DeviceMap]) -> OffDelay:
    """Work out the worst off delay of the supply `device`, with all the devices on its link."""
    devices = list(on_link)
    longest = max(longest_transaction_s(link.baud, other) for other in devices)
    others = [other for other in devices if other.driver == "modbus supply" and other.name != device.name]
    return OffDelay(
        blocked_s=max(longest, link.response_time_out_s),
        quiet_s=max(frame_gap_s(link.baud), link.quiet_after_silence_s),
        ahead_s=sum(transaction_s(link.baud, WRITE_ANSWER_BYTES, other.worst_answer_s) for other in others),
        own_s=transaction_s(link.baud, WRITE_ANSWER_BYTES, device.worst_answer_s),
    )
