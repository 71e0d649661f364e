"""The rules of the core's exploration over random histories, with real timings, drivers and devices.

Two drivers that lie show that a history is held to what truly happens, not to what the core believes.
"""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings

from drivers.module_modbus import ModuleModbus
from drivers.ports import Sent
from drivers.supply_modbus import SupplyModbus
from tests.harness.drawn import scripts
from tests.harness.histories import Act, Anodizes, Asks, BrokenHistoryError, Heats, Passes, Script, Strikes, play
from tests.harness.virtual_loop import virtual_loop

_SWITCHES: Any = ModuleModbus.set_switch


@settings(
    max_examples=8,
    derandomize=True,
    database=None,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(scripts(9, 40.0))
def test_every_rule_holds_whatever_people_do_and_whatever_strikes(script: Script) -> None:
    play(script)


def history(*acts: Act) -> Script:
    return Script("as the file has it", "off", 0, 90.0, acts)


def confirmed() -> Sent:
    now_s = virtual_loop().time()
    return Sent(now_s, now_s)


def test_current_after_an_off_that_was_confirmed_and_never_sent_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    async def lies(_: SupplyModbus) -> Sent:
        return confirmed()

    monkeypatch.setattr(SupplyModbus, "switch_off", lies)
    with pytest.raises(BrokenHistoryError, match="Current flows"):
        play(history(Anodizes("1 um", mends=False, then_s=5.0), Asks("hold"), Passes(5.0)))


def test_a_heater_in_the_air_whose_off_was_confirmed_and_never_sent_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    async def lies(module: ModuleModbus, point: str, *, on: bool) -> Sent:
        return await _SWITCHES(module, point, on=on) if on or point != "k9" else confirmed()

    monkeypatch.setattr(ModuleModbus, "set_switch", lies)
    dry = Strikes("level falls", (("tank", "seal"),), 20.0)
    with pytest.raises(BrokenHistoryError, match="The heater is on"):
        play(history(Heats(40.0), dry, Passes(12.0)))
