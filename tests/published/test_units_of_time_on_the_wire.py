"""The least time of a Modbus read, against the published frame lengths and silences."""

from __future__ import annotations

import pytest

from drivers.modbus_frames import frame_gap_s
from drivers.modbus_times import modbus_times, read_answer_bytes, transaction_s
from drivers.points import SerialSettings
from drivers.registers import Register, RegisterMap

# Modbus over serial line V1.02: 11 bits a character, 3.5 characters silence (1.750 ms above 19 200 baud), request
# 8 bytes, answer 5 + 2N bytes. Least time of request, silence, answer, silence for N = 2, 4, 10, in ms; derived.
LEAST_MS = {
    9600: (27.50, 32.08, 45.83),
    19200: (13.75, 16.04, 22.92),
    38400: (8.37, 9.52, 12.95),
    115200: (5.12, 5.51, 6.65),
}


@pytest.mark.parametrize("baud", LEAST_MS)
def test_a_read_takes_at_least_its_frames_and_silences(baud: int) -> None:
    for count, least_ms in zip((2, 4, 10), LEAST_MS[baud], strict=True):
        group = tuple(Register(f"p{n}", "input register", n) for n in range(count))
        assert transaction_s(baud, read_answer_bytes(group)) * 1000 == pytest.approx(least_ms, abs=0.006)


def test_the_silence_is_fixed_above_19200_baud() -> None:
    assert frame_gap_s(19200) == pytest.approx(2.005e-3, abs=1e-6)
    assert frame_gap_s(19201) == 1.75e-3
    assert frame_gap_s(1_000_000) == 1.75e-3


def test_bits_come_eight_to_a_byte() -> None:
    """Reads of bits answer with 5 + ceil(N/8) bytes: Modbus application protocol V1.1b3, 6.1 and 6.2 (from memory)."""
    assert read_answer_bytes((Register("a", "coil", 0), Register("b", "coil", 7))) == 6
    assert read_answer_bytes((Register("a", "coil", 0), Register("b", "coil", 8))) == 7


def test_the_longest_transaction_of_a_device_is_its_widest_group_at_its_slowest() -> None:
    points = {f"p{n}": Register(f"p{n}", "input register", n if n < 4 else 100 + n) for n in range(6)}
    device = RegisterMap("module", "modbus module", 1, points, worst_answer_s=0.05)
    expected_s = (8 + 13) * 11 / 19200 + 0.05 + 38.5 / 19200
    settings = SerialSettings("bus", "modbus rtu", 0.15, 0.05, port="unused", baud=19200)
    assert modbus_times(settings, device).longest_s == pytest.approx(expected_s)
