"""How long a Modbus device may keep its link busy, from its map alone."""

from __future__ import annotations

from collections.abc import Iterable

from drivers.modbus_frames import REQUEST_LENGTH, frame_gap_s, read_answer_length, wire_time_s, write_request_length
from drivers.points import LinkSettings, SerialSettings
from drivers.ports import Times
from drivers.registers import BIT_TABLES, WRITABLE, Register, RegisterMap, groups_of

WRITE_ANSWER_BYTES = REQUEST_LENGTH
"""A device confirms a write with address and value or count."""


def modbus_times(settings: LinkSettings, device_map: RegisterMap) -> Times:
    """Work out a device's longest exchange, and that of one command to it, when it takes its worst time to answer.

    With the rest that the link keeps after it, for whichever device on it asks for the longest, and with the link's
    opening where that is anew each time. To be connected to takes no longer than to be answered.
    """
    baud = settings.baud if isinstance(settings, SerialSettings) else None
    worst_s, points = device_map.worst_answer_s, device_map.points.values()
    reads = [transaction_s(baud, read_answer_bytes(group), worst_s) for group in groups_of(device_map)]
    writes = [_write_s(baud, point, worst_s) for point in points if point.table in WRITABLE]
    switches = [_write_s(baud, p, worst_s) for p in points if set(p.states.values()) == {"off", "on"}]
    plain_s = transaction_s(baud, WRITE_ANSWER_BYTES, worst_s)
    longest_s, opening_s = max([*reads, *writes, plain_s]), 0.0
    if settings.opens_each_scan:
        opening_s = settings.settle_s + (worst_s if baud is None else 0.0)
    return Times(
        opening_s + longest_s + settings.quiet_s,
        opening_s + max(switches, default=plain_s) + settings.quiet_s,
        longest_s + settings.quiet_s,
    )


def _write_s(baud: int | None, point: Register, worst_answer_s: float) -> float:
    many = point.write_many or point.width > 1
    request = write_request_length(point.width) if many else REQUEST_LENGTH
    return transaction_s(baud, WRITE_ANSWER_BYTES, worst_answer_s, request)


def transaction_s(
    baud: int | None, answer_bytes: int, worst_answer_s: float = 0.0, request_bytes: int = REQUEST_LENGTH
) -> float:
    """Request, wait, answer and the silence after it, s. The wait is at least the 3.5 characters before an answer.

    Over TCP (`baud` None) frames take no time beside the wait.
    """
    if baud is None:
        return worst_answer_s
    frames_s, gap_s = wire_time_s(baud, request_bytes + answer_bytes), frame_gap_s(baud)
    return frames_s + max(gap_s, worst_answer_s) + gap_s


def read_answer_bytes(group: Iterable[Register]) -> int:
    """Length of the RTU answer to one read of this group of points."""
    points = list(group)
    first = min(point.address for point in points)
    count = max(point.address + point.width for point in points) - first
    return read_answer_length(count, bits=points[0].table in BIT_TABLES)
