"""Modbus RTU frames by hand, from Modbus over serial line V1.02 and Modbus application protocol V1.1b3."""

from __future__ import annotations

READ_COILS = 0x01
READ_DISCRETE_INPUTS = 0x02
READ_HOLDING_REGISTERS = 0x03
READ_INPUT_REGISTERS = 0x04
WRITE_COIL = 0x05
WRITE_REGISTER = 0x06
WRITE_COILS = 0x0F
WRITE_REGISTERS = 0x10
READS = (READ_COILS, READ_DISCRETE_INPUTS, READ_HOLDING_REGISTERS, READ_INPUT_REGISTERS)
WRITES = (WRITE_COIL, WRITE_REGISTER, WRITE_COILS, WRITE_REGISTERS)

ILLEGAL_FUNCTION = 0x01
ILLEGAL_DATA_ADDRESS = 0x02
ILLEGAL_DATA_VALUE = 0x03

BITS_PER_CHARACTER = 11
LONGEST_FRAME = 256
_FIXED_SILENCE_S = 0.00175


def _crc_table() -> tuple[int, ...]:
    table = []
    for byte in range(256):
        value = byte
        for _ in range(8):
            value = (value >> 1) ^ 0xA001 if value & 1 else value >> 1
        table.append(value)
    return tuple(table)


_CRC_TABLE = _crc_table()


def crc16(data: bytes) -> int:
    """The check sum of V1.02, section 6.2.2: polynomial A001 hex (reflected), beginning at FFFF hex."""
    crc = 0xFFFF
    for byte in data:
        crc = (crc >> 8) ^ _CRC_TABLE[(crc ^ byte) & 0xFF]
    return crc


def with_crc(body: bytes) -> bytes:
    """The body with its check sum behind it, low byte first."""
    return body + crc16(body).to_bytes(2, "little")


def crc_fits(frame: bytes) -> bool:
    """Whether the last two bytes are the check sum of those before."""
    return len(frame) >= 4 and crc16(frame[:-2]) == int.from_bytes(frame[-2:], "little")


def request_length(head: bytes) -> int | None:
    """The whole length of the request that begins with these bytes; None while too few are there to tell.

    0 for a function code that this server does not know, so that only silence can end the frame.
    """
    if len(head) < 2:
        return None
    if head[1] in {*READS, WRITE_COIL, WRITE_REGISTER}:
        return 8
    if head[1] in {WRITE_COILS, WRITE_REGISTERS}:
        return None if len(head) < 7 else 9 + head[6]
    return 0


def character_s(baud: int) -> float:
    """How long one character of 11 bits takes, s."""
    return BITS_PER_CHARACTER / baud


def silence_s(baud: int) -> float:
    """The silence between frames, s: 3.5 characters, fixed at 1.750 ms above 19 200 baud."""
    return 3.5 * character_s(baud) if baud <= 19200 else _FIXED_SILENCE_S
