"""The part in its acid: what grows, what is lost off the current, the reminder to take it out, and a restart.

Source: common practice without a source: a reminder after 2 min and an alarm after 5 min off the current in acid; a
restart with a ramp up to 2 min, with the coat to be gauged up to 10 min, and none after that or once it was rinsed. The
current of a restart stays near nothing until the voltage is at about nine tenths of what it was (from memory).
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from supervisor.core import coat, words
from supervisor.core.permissives import fresh
from supervisor.trade.alloys import ALLOYS, USUAL_V, least_plausible_v
from supervisor.trade.dissolution import wall_loss_nm_per_s

if TYPE_CHECKING:
    from supervisor.core.anodize import Operation
    from supervisor.core.setup import SupplySetup
    from supervisor.core.state import SupplyState
    from supervisor.core.work import Work

PLAUSIBLE_AFTER_S = 60.0
"""Process time under current from which a voltage that is too low means that no coat grows."""

EVERY_S = 1.0
"""Process time after which the coat is looked at though no reading came."""

NEARED_SHARE = 0.9
NEARED_WITHIN_S = 120.0
"""At a restart the current may stay away until the voltage is so near to its earlier value, and for so long at most."""


def follow(work: Work, name: str) -> None:
    """Bring the coat under a supply up to now: at every reading of the current, and every second without one."""
    supply, setup, now_s = work.supply(name), work.supply_setup(name), work.at.process_s
    operation, known = supply.operation, supply.coat
    if operation is None or known.out_s is not None or operation.dose.charge.best <= 0:
        return
    flows = operation.energised and operation.dose.last.best >= setup.off_threshold_a
    charge, counted_s = operation.dose.charge, known.counted_s
    turned = flows == (known.off_since_s is not None)
    if counted_s is not None and charge == known.judged and not turned and now_s < counted_s + EVERY_S:
        return
    voltage_v = _voltage_v(work, setup)
    loss = wall_loss_nm_per_s(_bath_c(work, setup), under_current=flows)
    grows = charge == known.judged or _grows(operation, voltage_v, now_s)
    outer_nm, layers_nm_c, barren = coat.older(known, now_s, loss, charge, grows=grows)
    works = flows and operation.dose.last.best >= work.setup.anodize.reached_fraction * operation.plan.expected_a
    after = coat.Coat(
        counted_s=now_s if counted_s is None else max(now_s, counted_s),
        outer_nm=outer_nm,
        layers_nm_c=layers_nm_c,
        judged=charge,
        barren=barren,
        off_since_s=None if flows else _off_since_s(operation, known, now_s),
        off_unknown=known.off_unknown and not flows,
        worked_v=voltage_v if works and voltage_v is not None else known.worked_v,
        awaited_v=None if works else _awaited_v(operation, known, voltage_v, now_s),
    )
    work.put(name, replace(supply, coat=after))


def _off_since_s(operation: Operation, known: coat.Coat, now_s: float) -> float:
    """The newest reading is when it flowed last for all anybody knows, also where a supervisor was away since."""
    if known.off_since_s is not None:
        return known.off_since_s
    return now_s if operation.dose.last_s is None else min(now_s, operation.dose.last_s)


def _bath_c(work: Work, setup: SupplySetup) -> float:
    """The bath's temperature, degC; the warmest its band allows while nobody knows."""
    tank = work.setup.tanks[setup.tank]
    channel = work.setup.channels[tank.temperature]
    known_c = fresh(work.state, channel.name, work.at.process_s, channel.age_limit_s)
    return tank.band.warn_high_c if known_c is None else known_c


def _voltage_v(work: Work, setup: SupplySetup) -> float | None:
    channel = work.setup.channels[setup.voltage]
    return fresh(work.state, channel.name, work.at.process_s, channel.age_limit_s)


def _grows(operation: Operation, voltage_v: float | None, now_s: float) -> bool:
    """Whether the newest charge grew coat: none does under a voltage that is no cell's. Unknown is no sign against."""
    ramp, plan = operation.ramp, operation.plan
    if voltage_v is None or ramp is None or ramp.on_s is None or now_s < ramp.on_s + PLAUSIBLE_AFTER_S:
        return True
    volts = min((ALLOYS[one].voltage_v for one in plan.alloy.split(", ") if one in ALLOYS), default=USUAL_V)
    return voltage_v >= least_plausible_v(volts, operation.dose.last.best / plan.area_m2)


def _awaited_v(operation: Operation, known: coat.Coat, voltage_v: float | None, now_s: float) -> float | None:
    """The voltage that a restart waits for; None once it is near, or two minutes after on."""
    ramp = operation.ramp
    if known.awaited_v is None or ramp is None or ramp.on_s is None:
        return known.awaited_v
    neared = voltage_v is not None and voltage_v >= NEARED_SHARE * known.awaited_v
    return None if neared or now_s >= ramp.on_s + NEARED_WITHIN_S else known.awaited_v


def sits(supply: SupplyState) -> bool:
    """Whether a part with a coat stands in acid off the current, for all anybody said."""
    operation = supply.operation
    if operation is None or operation.energised or supply.coat.out_s is not None:
        return False
    return supply.coat.off_since_s is not None


def take_out(work: Work, name: str) -> str:
    """Take a person's word that the part is out of the acid; return why not, "" if it was taken."""
    supply = work.supply(name)
    operation = supply.operation
    if operation is None:
        return f"out: nothing is under way or over at {name}."
    if operation.energised or not supply.output.proven_off:
        return f"out: the output of {name} is not proven off. Keep hands out of the tank; stop or hold the load first."
    if supply.coat.out_s is not None:
        return f"out: load {operation.load} was said to be out already."
    work.put(name, replace(supply, coat=replace(supply.coat, out_s=work.at.process_s)))
    return ""


def resume(work: Work, name: str, operation: Operation) -> str:
    """Restart on the coat there is: wait for its voltage, and have it gauged where it was off for long.

    Returns what to tell of it; "" where there is nothing.
    """
    supply = work.supply(name)
    made = supply.coat
    if made.off_since_s is None:
        return ""
    work.put(name, replace(supply, coat=replace(made, awaited_v=made.worked_v or None)))
    off_s, lost = made.off_for_s(work.at.process_s), coat.lost_share(operation, made)
    text = f"Load {operation.load} was off the current in acid for {words.duration(off_s)}"
    if made.off_unknown:
        text += " at least: nobody can say how long the computer was away"
    text += f"; its coat has lost about {lost * 100:.2g} % of its mass to acid in all."
    if off_s > work.setup.anodize.restart_plain_s or made.off_unknown:
        text += " Gauge it at the end: coats may part where the current was off."
        load = work.state.loads.get(operation.load)
        if load is not None:
            load = replace(load, gauge=f"restarted after {words.duration(off_s)} off the current")
            work.state = replace(work.state, loads={**work.state.loads, load.id: load})
    return text
