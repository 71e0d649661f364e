"""Bad bytes on the wire during an operation: never a crash, never a number that enters the charge."""

from __future__ import annotations

import pytest

from supervisor.core.anodize import State
from supervisor.core.events import Quality, Scanned
from supervisor.records.codec import decode_event
from supervisor.service.app import journal_path
from tests.harness.journals import recorded
from tests.harness.lines import with_true_meter
from tests.harness.virtual import VirtualLine, virtual_line, virtually

SHARE = 0.04
"""Of the answers; at the demo's pace this strikes the supply every second on the wire."""

METER_STEP_A = 0.001

FAULTS: dict[str, dict[str, float]] = {
    "request dropped": {},
    "answer dropped": {},
    "answer delayed": {"delay_ms": 200.0},
    "answer duplicated": {},
    "answer truncated": {"bytes": 3.0},
    "byte corrupted": {},
    "wrong unit": {},
    "wrong function": {},
    "wrong byte count": {},
    "wrong register count": {},
    "wrong CRC": {},
    "garbage before the answer": {},
    "garbage instead of the answer": {"bytes": 30.0},
}


def good_currents(line: VirtualLine) -> list[float]:
    """Every current the record calls good, A."""
    events = [decode_event(text) for text, _ in recorded(journal_path(line.files.load()))]
    return [
        reading.value
        for event in events
        if isinstance(event, Scanned)
        for reading in event.readings
        if reading.channel == "main-current" and reading.quality is Quality.GOOD and reading.value is not None
    ]


def struck(line: VirtualLine) -> int:
    """How many answers were spoilt."""
    return sum(active.struck for active in line.simulated.board._standing)


@pytest.mark.parametrize("what", FAULTS)
@virtually
async def test_bad_bytes_never_enter_the_charge(what: str) -> None:
    faults = [
        {"what": what, "device": device, "after_current_s": 5.0, "share": SHARE, **FAULTS[what]}
        for device in ("rectifier", "thermometer")
    ]
    async with virtual_line(*faults, plan=with_true_meter) as line:
        await line.start()
        await line.begin("6 um")
        await line.until_state(State.COMPLETE, State.HELD)
        charge = line.operation.dose.charge
        assert charge.low <= line.true_charge_c <= charge.high
        await line.stop()
        assert not line.truly_on()
        assert struck(line) >= 5
        highest_a = line.operation.plan.current_a
        assert all(0.0 <= value <= highest_a + METER_STEP_A for value in good_currents(line))


@virtually
async def test_a_reading_beyond_the_devices_range_is_no_number() -> None:
    async with virtual_line() as line:
        await line.start()
        line.simulated.sensors["acid-middle"].sheath_c = 1500.0
        await line.pass_time(60.0)
        shown = line.service.status()["tanks"]["acid"]
        assert shown["temperature_c"] is None
        assert shown["reading"] == "out of range"
