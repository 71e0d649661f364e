"""Modbus frames as bytes: what counts as the answer to a request, over a serial line and over TCP, and their times.

Written from "MODBUS Application Protocol Specification V1.1b3", "MODBUS over Serial Line V1.02" and "MODBUS Messaging
on TCP/IP Implementation Guide V1.0b" (the last from memory). What both wires carry is a body: unit, function and data.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

READ_BITS = frozenset({1, 2})
READ_REGISTERS = frozenset({3, 4})
WRITES = frozenset({5, 6, 15, 16})
REQUEST_LENGTH = 8
"""Bytes of every RTU request of function 1 to 6, and of the answer to every write."""

SHORTEST = 5
"""Bytes of the shortest RTU answer there is: unit, function, exception code, check sum."""

CHECK_SUM = 2
"""Bytes of an RTU frame behind its body."""

MBAP = 6
"""Bytes of a TCP frame before its body: transaction, protocol (0) and the body's length, each two, high byte first."""

LONGEST_BODY = 254
"""Bytes of the longest body there is."""

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


NOTHING = Judged("incomplete", "nothing came back")


def crc16(data: bytes) -> bytes:
    """Check sum of a frame, low byte first (over Serial Line V1.02, 2.5.1.2 and appendix B)."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0xA001 if crc & 1 else crc >> 1
    return crc.to_bytes(2, "little")


def read_answer_length(count: int, *, bits: bool) -> int:
    """Bytes of the good RTU answer to a read of so many bits, or else registers (V1.1b3, 6.1 to 6.4)."""
    return SHORTEST + ((count + 7) // 8 if bits else 2 * count)


def write_request_length(registers: int) -> int:
    """Bytes of the RTU request that writes so many registers at once (V1.1b3, 6.12)."""
    return REQUEST_LENGTH + 1 + 2 * registers


def answer_length(request: bytes) -> int:
    """Bytes of the good answer to an RTU request frame, 5 to 255."""
    return _body_length(request) + CHECK_SUM


def judge(request: bytes, received: bytes) -> Judged:
    """Judge the bytes that came after an RTU request: only exactly one well-formed answer to it is good.

    Args:
        request: the whole frame sent, function 1 to 6, 15 or 16.
        received: every byte that came since, none taken away.
    """
    if not received:
        return NOTHING
    judged = _judge_body(request, received, CHECK_SUM)
    if judged.verdict in {"good", "refused"} and crc16(received[:-CHECK_SUM]) != received[-CHECK_SUM:]:
        return Judged("bad", "its check sum is wrong")
    return judged


def judge_tcp(request: bytes, received: bytes) -> Judged:
    """Judge the bytes that came after a TCP request; see `judge`. Its transaction must be the request's own."""
    if not received:
        return NOTHING
    head = received[:MBAP]
    for place, name in ((0, "transaction"), (2, "protocol")):
        had, asked = head[place : place + 2], request[place : place + 2]
        if not asked.startswith(had):
            number = int.from_bytes(had)
            return Judged("bad", f"it names {name} {number}, asked was {name} {int.from_bytes(asked)}")
    if len(received) <= MBAP:
        return Judged("incomplete", f"it breaks off after {len(received)} bytes")
    body = received[MBAP:]
    judged = _judge_body(request[MBAP:], body, 0)
    announced = int.from_bytes(head[4:6])
    if judged.verdict in {"good", "refused"} and announced != len(body):
        return Judged("bad", f"it announces {announced} bytes, and {len(body)} came")
    return judged


def _judge_body(request: bytes, received: bytes, behind: int) -> Judged:
    """Judge an answer from its unit on, with so many bytes due behind its body."""
    fault = _wrong_head(request, received)
    if fault:
        return Judged("bad", fault)
    refused = len(received) > 1 and received[1] != request[1]
    length = (3 if refused else _body_length(request)) + behind
    if len(received) < length:
        return Judged("incomplete", f"it breaks off after {len(received)} of {length} bytes")
    if len(received) > length:
        return Judged("bad", f"{len(received)} bytes came where {length} were due")
    return Judged("refused" if refused else "good")


def _body_length(request: bytes) -> int:
    """Bytes of the good answer's body to a request that begins so."""
    count = int.from_bytes(request[4:6])
    if request[1] in READ_BITS:
        return 3 + (count + 7) // 8
    return 3 + 2 * count if request[1] in READ_REGISTERS else 6


def _wrong_head(request: bytes, received: bytes) -> str:
    """What is wrong with as much of an answer's head as has come; empty when nothing is."""
    if received[0] != request[0]:
        return f"it names unit {received[0]}, asked was unit {request[0]}"
    function, body = received[1:2], received[2:6]
    if function == bytes([request[1] | 0x80]):
        return "it refuses with code 0, which there is not" if body[:1] == b"\0" else ""
    if function and function != request[1:2]:
        return f"it names function {function[0]}, asked was function {request[1]}"
    if request[1] in WRITES:
        return "" if request[2:6].startswith(body) else "it confirms another address, value or count than was sent"
    due = _body_length(request) - 3
    if body and body[0] != due:
        return f"it announces {body[0]} bytes of values, due were {due}"
    return ""


def frame_gap_s(baud: int) -> float:
    """Silence between two frames, s: 3.5 characters, 1.75 ms above 19200 baud (over Serial Line V1.02, 2.5.1.1)."""
    return 0.00175 if baud > 19200 else 3.5 * BITS_A_CHARACTER / baud


def wire_time_s(baud: int, byte_count: int) -> float:
    """Time the given number of bytes takes on the wire, s."""
    return byte_count * BITS_A_CHARACTER / baud
