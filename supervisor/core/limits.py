"""Warn and trip limits of a bath's temperature, with deadband and delay.

Source: deadband of 0.2-0.3 degC for a bath held within 1 degC (1 % of range is too wide there), from memory;
a trip has no delay because a trip that waits is not one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from supervisor.core.tank_setup import BandSetup


@dataclass(frozen=True, slots=True)
class BandState:
    """Which limits a bath is beyond.

    Attributes:
        beyond: names of the limits it is beyond now (`bath-low-low`, `bath-low`, `bath-high`, `bath-high-high`).
        warn_since_s: process time since when it is beyond a warn limit; None when inside.
    """

    beyond: frozenset[str] = frozenset()
    warn_since_s: float | None = None


def raised(state: BandState, temperature_c: float, at_s: float, band: BandSetup) -> BandState:
    """Judge a reading that is not believed, degC: it may enter a limit, and leaves none (R9)."""
    after = step(state, temperature_c, at_s, band)
    since_s = after.warn_since_s if state.warn_since_s is None else state.warn_since_s
    return BandState(state.beyond | after.beyond, since_s)


def step(state: BandState, temperature_c: float, at_s: float, band: BandSetup) -> BandState:
    """Judge one good reading, degC, taken at process time `at_s`.

    A limit is entered at its value and left a deadband inside it. Warnings wait for `band.delay_s`; trips do not.
    Only good readings may be given: a bad one neither enters nor leaves a limit (R9).
    """

    def above(name: str, limit_c: float) -> bool:
        return temperature_c >= limit_c - (band.deadband_c if name in state.beyond else 0.0)

    def below(name: str, limit_c: float) -> bool:
        return temperature_c <= limit_c + (band.deadband_c if name in state.beyond else 0.0)

    trips = {
        name
        for name, hit in (
            ("bath-high-high", above("bath-high-high", band.trip_high_c)),
            ("bath-low-low", below("bath-low-low", band.trip_low_c)),
        )
        if hit
    }
    warnings = {
        name
        for name, hit in (
            ("bath-high", above("bath-high", band.warn_high_c)),
            ("bath-low", below("bath-low", band.warn_low_c)),
        )
        if hit
    }
    if not warnings:
        return BandState(frozenset(trips))
    since_s = at_s if state.warn_since_s is None else state.warn_since_s
    due = at_s - since_s >= band.delay_s
    kept = warnings if due else warnings & state.beyond
    return replace(state, beyond=frozenset(trips | kept), warn_since_s=since_s)
