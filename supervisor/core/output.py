"""One supply output: whether it is wanted on, and the proof that it is off (R7)."""

from __future__ import annotations

from dataclasses import dataclass, replace

PROOF_READINGS = 2
"""Good readings below the threshold, one after another, that prove off. One could be the moment between two pulses."""


@dataclass(frozen=True, slots=True)
class Output:
    """State of one supply output.

    Attributes:
        wanted_on: whether the last command was on.
        proven_off: whether off is proven since then.
        asked_wire_s: wire time at which off was first asked for; None while on is wanted or off is proven.
        sent_wire_s: wire time of the last off command; None likewise.
        confirmed_s: process time at which the device confirmed an off; readings sent later count.
        low_readings: good readings below the threshold since then, in a row.
    """

    wanted_on: bool = False
    proven_off: bool = False
    asked_wire_s: float | None = None
    sent_wire_s: float | None = None
    confirmed_s: float | None = None
    low_readings: int = 0


def ask_on() -> Output:
    """On is commanded: nothing is proven any more."""
    return Output(wanted_on=True)


def ask_off(output: Output, wire_s: float) -> Output:
    """Off is commanded at wire time `wire_s`, for the first time or again; what was confirmed before stays."""
    asked_s = wire_s if output.asked_wire_s is None else output.asked_wire_s
    return replace(output, wanted_on=False, proven_off=False, asked_wire_s=asked_s, sent_wire_s=wire_s)


def confirmed(output: Output, at_s: float) -> Output:
    """Take the device's word, given at process time `at_s`, that it switched off: not yet a proof."""
    if output.wanted_on or output.proven_off or output.confirmed_s is not None:
        return output
    return replace(output, confirmed_s=at_s)


def read(output: Output, current_a: float | None, sent_s: float, threshold_a: float) -> Output:
    """Judge one current reading whose request left at process time `sent_s`; None for one that is not good.

    A bad reading counts as still on and begins the row anew; so does a current the wrong way, for it flows.
    """
    if output.wanted_on or output.proven_off:
        return output
    if current_a is None or abs(current_a) >= threshold_a:
        return replace(output, low_readings=0)
    if output.confirmed_s is None or sent_s < output.confirmed_s:
        return output
    row = output.low_readings + 1
    if row < PROOF_READINGS:
        return replace(output, low_readings=row)
    return Output(proven_off=True)


def doubted(at_s: float) -> Output:
    """Current was seen at process time `at_s` after the proof of off; nobody commands off, a new proof is awaited."""
    return Output(confirmed_s=at_s)


def overdue(output: Output, wire_s: float, deadline_s: float) -> bool:
    """Whether the proof of off is late at wire time `wire_s`."""
    return output.asked_wire_s is not None and wire_s - output.asked_wire_s >= deadline_s
