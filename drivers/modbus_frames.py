"""Modbus RTU frames as bytes: what counts as the answer to a request, and how long frames take on the wire.

Written from "MODBUS Application Protocol Specification V1.1b3" and "MODBUS over Serial Line V1.02".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

READ_BITS = frozenset({1, 2})
READ_REGISTERS = frozenset({3, 4})
WRITE_ONE = frozenset({5, 6})
REQUEST_LENGTH = 8
"""Bytes of every request of function 1 to 6."""

SHORTEST = 5
"""Bytes of the shortest answer there is: unit, function, exception code, check sum."""

BITS_A_CHARACTER = 11
"""Start, eight data, parity or a second stop, stop (over Serial Line V1.02, 2.5.1)."""

Verdict = Literal["good", "refused", "incomplete", "bad"]


@dataclass(frozen=True, slots=True)
class Judged:
    """What the bytes received so far are worth as the answer to one request.

    Attributes:
        verdict: `good` and `refused` are complete; `incomplete` may still become an answer, `bad` cannot.
        fault: what is wrong, for a person; empty when nothing is.
    """

    verdict: Verdict
    fault: str = ""


def crc16(data: bytes) -> bytes:
    """Check sum of a frame, low byte first (over Serial Line V1.02, 2.5.1.2 and appendix B)."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0xA001 if crc & 1 else crc >> 1
    return crc.to_bytes(2, "little")


def read_answer_length(count: int, *, bits: bool) -> int:
    """Bytes of the good answer to a read of so many bits, or else registers (V1.1b3, 6.1 to 6.4)."""
    return SHORTEST + ((count + 7) // 8 if bits else 2 * count)


def answer_length(request: bytes) -> int:
    """Bytes of the good answer to a request frame, 5 to 255.

    Args:
        request: a whole frame of function 1 to 6.
    """
    count = int.from_bytes(request[4:6])
    if request[1] in READ_BITS | READ_REGISTERS:
        return read_answer_length(count, bits=request[1] in READ_BITS)
    return len(request)


def judge(request: bytes, received: bytes) -> Judged:
    """Judge the bytes that came after a request: only exactly one well-formed answer to it is good.

    Args:
        request: the whole frame sent, function 1 to 6.
        received: every byte that came since, none taken away.
    """
    if not received:
        return Judged("incomplete", "nothing came back")
    fault = _wrong_head(request, received)
    if fault:
        return Judged("bad", fault)
    refused = len(received) > 1 and received[1] != request[1]
    length = SHORTEST if refused else answer_length(request)
    if len(received) < length:
        return Judged("incomplete", f"it breaks off after {len(received)} of {length} bytes")
    if len(received) > length:
        return Judged("bad", f"{len(received)} bytes came where {length} were due")
    if crc16(received[:-2]) != received[-2:]:
        return Judged("bad", "its check sum is wrong")
    return Judged("refused" if refused else "good")


def _wrong_head(request: bytes, received: bytes) -> str:
    """What is wrong with as much of an answer's head as has come; empty when nothing is."""
    if received[0] != request[0]:
        return f"it names unit {received[0]}, asked was unit {request[0]}"
    function, body = received[1:2], received[2:6]
    if function == bytes([request[1] | 0x80]):
        return "it refuses with code 0, which there is not" if body[:1] == b"\0" else ""
    if function and function != request[1:2]:
        return f"it names function {function[0]}, asked was function {request[1]}"
    if request[1] in WRITE_ONE:
        return "" if request[2:6].startswith(body) else "it confirms another address or value than was sent"
    due = answer_length(request) - SHORTEST
    if body and body[0] != due:
        return f"it announces {body[0]} bytes of values, due were {due}"
    return ""


def frame_gap_s(baud: int) -> float:
    """Silence between two frames, s: 3.5 characters, 1.75 ms above 19200 baud (over Serial Line V1.02, 2.5.1.1)."""
    return 0.00175 if baud > 19200 else 3.5 * BITS_A_CHARACTER / baud


def wire_time_s(baud: int, byte_count: int) -> float:
    """Time the given number of bytes takes on the wire, s."""
    return byte_count * BITS_A_CHARACTER / baud
