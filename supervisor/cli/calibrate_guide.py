"""The steps of a calibration at a terminal: what to do, when the instrument stands still, and what is true there.

Nothing here switches anything: a bath is left alone, and a current flows only where a person lets it flow by hand.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from supervisor.cli.ask import answer_of
from supervisor.core.events import Quality
from supervisor.trade.boiling import pressure_pa, saturation_c
from supervisor.trade.calibration import ICE_C
from supervisor.units import Kind, System, UnitMistake, parse, show

STEPS = ("ice", "boiling", "zero", "reference")

TAKES_S = 10.0
"""Wire time over which an instrument must stand still for a point; common practice, no source."""

LEAST_READINGS = 3
GIVES_UP_S = 120.0

LOWEST_PA, HIGHEST_PA = 45_000.0, 109_000.0
"""Pressures that people live under: 6,000 m high, and the highest ever read at the sea (from memory)."""

_KINDS: dict[str, Kind] = {"degC": "temperature", "A": "current", "V": "voltage"}

ICE = """Ice point. Crush ice of clean water, fill a flask with it, and add clean water until it just covers the ice.
Stir, and let it stand for ten minutes. Rinse the sensor, hold it in the middle of the ice, off wall and bottom."""
BOILING = """Boiling point. Boil clean water, rolling; steam and water scald. Hold the rinsed sensor in the middle of
the water, off wall and bottom, as deep as in its tank."""
ZERO = "Zero. Switch the supply off at itself, and see that nothing flows."
REFERENCE = {
    "degC": """Reference. Hold sensor and reference thermometer side by side in stirred water, far from the other
points.""",
    "A": """Reference. By hand, at the supply itself, let a steady current flow into a load or a short, far from the
other points; have the reference meter in the same cable.""",
    "V": """Reference. By hand, at the supply itself, set a steady voltage, far from the other points; hold the
reference meter where the volt meter's wires end.""",
}
COMMISSION = (
    """Put the reference meter around the one cable from {of} to the work, its arrow toward the work.
Switch {of} off at itself, and every other supply of the line on.""",
    "By hand, at {of} itself, set a small current into a load or a short, and switch it on.",
    "By hand, set at least twice that current.",
)
BY_HAND = """calibrate: while it supervises, ampminder switches off what it did not start. End it, start it with
`ampminder run FILE --watch-only`, and let the current flow by hand; or give points taken before with --point."""


class Left(Exception):  # noqa: N818 (nothing went wrong: a person left, or cannot go on)
    """The guide ended before its last step; says why, or nothing."""


def guide(asked: argparse.Namespace, system: System, known: dict[str, Any], *, watching: bool) -> tuple[list[str], str]:
    """Lead through every step; return the points as texts, and what told the truth.

    `known` is what the supervisor tells of the instrument. Raises Left.
    """
    if known["against"]:
        raise Left("\n  - ".join(("calibrate: refused.", *known["against"])))
    if known["unit"] != "degC" and not watching:
        raise Left(BY_HAND)
    steps = Steps(asked.line, asked.channel, system, known)
    points = steps.commission() if asked.commission else steps.take(asked.steps or steps.usual)
    return points, asked.reference or steps.told()


class Steps:
    """One instrument on its way through the steps."""

    def __init__(self, line: Path | None, channel: str, system: System, known: dict[str, Any]) -> None:
        self._line, self._channel, self._system, self._known = line, channel, system, known
        self._unit: str = known["unit"]
        self._against: list[str] = []
        self.usual = ("ice", "boiling") if self._unit == "degC" else ("zero", "reference", "reference")

    def take(self, steps: Iterable[str]) -> list[str]:
        """Take a point for each step."""
        does: dict[str, Callable[[], str]] = {
            "ice": self._ice, "boiling": self._boiling, "zero": self._zero, "reference": self._reference,
        }  # fmt: skip
        return [does[step]() for step in steps]

    def commission(self) -> list[str]:
        """Take the three points that show whose current the meter carries."""
        points = []
        for text in COMMISSION:
            shown = self._still(text.format(of=self._known["of"]))
            points.append(f"{shown} = {self._asked_for('What does the reference show? '):.7g} A")
        _yes("Was it so, arrow and all the other supplies as said? yes or no: ")
        return points

    def told(self) -> str:
        """Say what told the truth, as far as the steps know it; a reference meter is named by its person."""
        if "reference" in self._against or not self._against:
            self._against = [one for one in self._against if one != "reference"]
            self._against.append(_typed("Which reference was it? Its name or number: "))
        return ", ".join(self._against)

    def _ice(self) -> str:
        self._against.append("ice point")
        return f"{self._still(ICE)} = {ICE_C:.7g} degC"

    def _boiling(self) -> str:
        boils_c, where = _boils_here()
        shown = show(boils_c, "temperature", self._system)
        self._against.append(f"water boiling at {shown} ({where})")
        return f"{self._still(f'{BOILING} It boils at {shown} here.')} = {boils_c:.7g} degC"

    def _zero(self) -> str:
        self._against.append("zero")
        return f"{self._still(ZERO)} = 0 {self._unit}"

    def _reference(self) -> str:
        self._against.append("reference")
        shown = self._still(REFERENCE[self._unit])
        return f"{shown} = {self._asked_for('What does the reference show? '):.7g} {self._unit}"

    def _asked_for(self, prompt: str) -> float:
        return _quantity(prompt, (_KINDS[self._unit],))[0]

    def _still(self, text: str) -> str:
        """Wait at a step until the instrument stands still; return what it shows and by how much that moved."""
        print(f"\n{text}")
        while True:
            _typed("Enter when it is so: ")
            print(f"Reading {self._channel} for some seconds; leave it as it is.")
            readings = self._readings()
            shown, spread = sum(readings) / len(readings), max(readings) - min(readings)
            print(f"{self._channel} shows {show(shown, _KINDS[self._unit], self._system)}.")
            if spread <= self._known["limits"]["steady"]:
                return f"{shown:.7g} {self._unit} +- {spread:.3g} {self._unit}"
            print("It still moves; wait a while.")

    def _readings(self) -> list[float]:
        """What the instrument shows over some seconds. Raises Left where nothing good comes."""
        found: dict[float, float] = {}
        began_s = time.monotonic()
        while (for_s := time.monotonic() - began_s) < TAKES_S or len(found) < LEAST_READINGS:
            answer = answer_of(self._line, "calibrations", {})
            if not answer["ok"]:
                raise Left(" ".join(answer["reasons"]))
            one = answer["instruments"][self._channel]
            if for_s > GIVES_UP_S:
                raise Left(self._nothing_good(one["reading"]))
            if one["shown"] is not None:
                found[one["sampled_s"]] = one["shown"]
            time.sleep(0.5)
        return list(found.values())

    def _nothing_good(self, reading: str) -> str:
        text = f"calibrate: {self._channel} shows too little that is good (its reading: {reading}). Nothing is kept."
        if self._unit == "A" and reading == Quality.OUT_OF_RANGE:
            text += " If current flows, its two sense wires may be the wrong way round."
        return text


def _boils_here() -> tuple[float, str]:
    """Ask where this is; return where water boils, degC, and what that follows from."""
    print(
        "\nWhere water boils hangs on the pressure. A barometer here is best, not reduced to the sea, as a forecast's"
    )
    print("is; by the altitude alone, the weather leaves 0.6 degC.")
    while True:
        value, kind, text = _quantity("Pressure or altitude of this place: ", ("pressure", "altitude"))
        pressure = value
        if kind == "altitude":
            try:
                pressure = pressure_pa(value)
            except ValueError as problem:
                print(f"{problem}.")
                continue
        if LOWEST_PA <= pressure <= HIGHEST_PA:
            return saturation_c(pressure), text
        print("Nobody lives under that pressure. Was it read right?")


def _quantity(prompt: str, kinds: tuple[Kind, ...]) -> tuple[float, Kind, str]:
    """Ask until the answer is a quantity of one of the kinds."""
    while True:
        text, mistakes = _typed(prompt), []
        for kind in kinds:
            try:
                return parse(text, kind), kind, text.strip()
            except UnitMistake as mistake:
                mistakes.append(mistake.right)
        print("; or ".join(mistakes) + ".")


def _yes(prompt: str) -> None:
    if _typed(prompt).strip().lower() not in {"yes", "y"}:
        raise Left


def _typed(prompt: str) -> str:
    """One line from the terminal. Raises Left at its end or Ctrl-C."""
    try:
        return input(prompt)
    except (EOFError, KeyboardInterrupt):
        print()
        raise Left from None
