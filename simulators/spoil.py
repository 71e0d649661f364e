"""What faults on the wire make of a good answer: the bytes that appear instead, and when."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Mapping

from simulators.faults import Fault
from simulators.modbus_frames import READS, with_crc
from simulators.pty import Piece


def _truncated(frame: bytes, fault: Fault, _chance: random.Random) -> bytes:
    return frame[: max(len(frame) - int(fault.amounts["bytes"]), 0)]


def _corrupted(frame: bytes, _fault: Fault, chance: random.Random) -> bytes:
    place = chance.randrange(len(frame))
    return frame[:place] + bytes((frame[place] ^ (1 << chance.randrange(8)),)) + frame[place + 1 :]


def _wrong_unit(frame: bytes, _fault: Fault, _chance: random.Random) -> bytes:
    return with_crc(bytes((frame[0] % 247 + 1,)) + frame[1:-2])


def _wrong_function(frame: bytes, _fault: Fault, _chance: random.Random) -> bytes:
    return with_crc(bytes((frame[0], frame[1] ^ 0x07)) + frame[2:-2])


def _wrong_byte_count(frame: bytes, _fault: Fault, _chance: random.Random) -> bytes:
    """The count of a read is one too high; a write's echo has no such byte and loses its last word instead."""
    if frame[1] in READS:
        return with_crc(frame[:2] + bytes(((frame[2] + 1) & 0xFF,)) + frame[3:-2])
    return with_crc(frame[:-4])


def _wrong_register_count(frame: bytes, _fault: Fault, _chance: random.Random) -> bytes:
    """A read's answer holds one register more than asked, its byte count fitting; a write echoes one more."""
    if frame[1] in READS:
        return with_crc(frame[:2] + bytes(((frame[2] + 2) & 0xFF,)) + frame[3:-2] + b"\x00\x01")
    word = (int.from_bytes(frame[4:6]) + 1) & 0xFFFF
    return with_crc(frame[:4] + word.to_bytes(2))


def _wrong_crc(frame: bytes, _fault: Fault, _chance: random.Random) -> bytes:
    return frame[:-2] + bytes((frame[-2] ^ 0xFF, frame[-1] ^ 0xFF))


def _garbage_before(frame: bytes, fault: Fault, chance: random.Random) -> bytes:
    return chance.randbytes(int(fault.amounts["bytes"])) + frame


def _garbage_instead(_frame: bytes, fault: Fault, chance: random.Random) -> bytes:
    return chance.randbytes(int(fault.amounts["bytes"]))


def _swapped(frame: bytes, _fault: Fault, _chance: random.Random) -> bytes:
    """The first two registers of a read change places, the check sum fitting."""
    if frame[1] not in READS or frame[2] < 4:
        return frame
    return with_crc(frame[:3] + frame[5:7] + frame[3:5] + frame[7:-2])


def _wrong_head(frame: bytes, _fault: Fault, _chance: random.Random) -> bytes:
    """Of a TCP frame, which has no check sum, the protocol is wrong."""
    return frame[:2] + bytes((frame[2] ^ 0xFF, frame[3])) + frame[4:]


def _wrong_transaction(frame: bytes, _fault: Fault, _chance: random.Random) -> bytes:
    return bytes((frame[0] ^ 0x40, frame[1])) + frame[2:]


Spoiler = Callable[[bytes, Fault, random.Random], bytes]

# What makes another whole frame comes first, what breaks bytes after it.
_MEANINGS: dict[str, Spoiler] = {
    "values swapped": _swapped,
    "wrong unit": _wrong_unit,
    "wrong function": _wrong_function,
    "wrong byte count": _wrong_byte_count,
    "wrong register count": _wrong_register_count,
}
_BYTES: dict[str, Spoiler] = {
    "byte corrupted": _corrupted,
    "answer truncated": _truncated,
    "garbage before the answer": _garbage_before,
    "garbage instead of the answer": _garbage_instead,
}
_RTU: dict[str, Spoiler] = {"wrong CRC": _wrong_crc, **_BYTES}
_TCP: dict[str, Spoiler] = {"wrong CRC": _wrong_head, "wrong number": _wrong_transaction, **_BYTES}


def spoil(frame: bytes, faults: Iterable[Fault], chance: random.Random, head: bytes = b"") -> list[Piece]:
    """An answer, given as a good RTU frame, as the faults leave it: what appears on the wire.

    With `head`, transaction and protocol, it goes out as a TCP frame, and what breaks bytes breaks that one's.
    """
    struck = {fault.what: fault for fault in faults}
    frame = _spoiled(frame, struck, _MEANINGS, chance)
    if head:
        body = frame[:-2]
        frame = head + len(body).to_bytes(2) + body
    frame = _spoiled(frame, struck, _TCP if head else _RTU, chance)
    if "answer dropped" in struck or not frame:
        return []
    delay_s = struck["answer delayed"].amounts["delay_ms"] / 1000.0 if "answer delayed" in struck else 0.0
    gap_s = struck["slow drip"].amounts["gap_ms"] / 1000.0 if "slow drip" in struck else 0.0
    return [Piece(frame, delay_s, gap_s)] * (2 if "answer duplicated" in struck else 1)


def _spoiled(frame: bytes, struck: Mapping[str, Fault], spoilers: dict[str, Spoiler], chance: random.Random) -> bytes:
    for what, spoiler in spoilers.items():
        if what in struck and frame:
            frame = spoiler(frame, struck[what], chance)
    return frame
