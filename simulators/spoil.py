"""What faults on the wire make of a good answer: the bytes that appear instead, and when."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable

from simulators.faults import Fault
from simulators.modbus_frames import READS, with_crc


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


_SPOILERS: dict[str, Callable[[bytes, Fault, random.Random], bytes]] = {
    "values swapped": _swapped,
    "wrong unit": _wrong_unit,
    "wrong function": _wrong_function,
    "wrong byte count": _wrong_byte_count,
    "wrong register count": _wrong_register_count,
    "wrong CRC": _wrong_crc,
    "byte corrupted": _corrupted,
    "answer truncated": _truncated,
    "garbage before the answer": _garbage_before,
    "garbage instead of the answer": _garbage_instead,
}


def spoil(frame: bytes, faults: Iterable[Fault], chance: random.Random) -> tuple[float, list[bytes]]:
    """The answer as the faults leave it: by how much later it begins, wire seconds, and the frames that appear."""
    struck = {fault.what: fault for fault in faults}
    for what, spoiler in _SPOILERS.items():
        if what in struck and frame:
            frame = spoiler(frame, struck[what], chance)
    delay_s = struck["answer delayed"].amounts["delay_ms"] / 1000.0 if "answer delayed" in struck else 0.0
    if "answer dropped" in struck or not frame:
        return delay_s, []
    return delay_s, [frame, frame] if "answer duplicated" in struck else [frame]
