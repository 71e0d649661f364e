"""What goes wrong little by little at a load: a contact that creeps off or gets hot, a surface that burns."""

from __future__ import annotations

import math
from typing import Literal, get_args

from simulators.cell import Cell

SlowFault = Literal["contact creeps off", "contact gets hot", "part burns"]
SLOW: tuple[SlowFault, ...] = get_args(SlowFault)

# A surface that burns does not get much hotter than this over its surroundings: its acid boils (from memory).
_HOTTEST_K = 40.0


class Failing:
    """The slow troubles of one load. Times are process time."""

    def __init__(self, cell: Cell) -> None:
        self._cell = cell
        self._standing: dict[str, tuple[float, dict[str, float]]] = {}

    def begin(self, what: str, at_s: float, amounts: dict[str, float]) -> None:
        """Let one of SLOW begin now."""
        self._standing[what] = (at_s, amounts)

    def end(self, what: str) -> None:
        """Let it be as if it had never been."""
        self._standing.pop(what, None)
        if not self._standing:
            self._cell.creep_ohm, self._cell.burning_c = 0.0, 0.0

    @property
    def is_any(self) -> bool:
        """Whether anything goes wrong now."""
        return bool(self._standing)

    def go_on(self, now_s: float) -> None:
        """Bring the cell to how far all of it has come by now."""
        ohm, burning_c = 0.0, 0.0
        for what, (began_s, amounts) in self._standing.items():
            since_s = now_s - began_s
            if what == "contact creeps off":
                gone = since_s / amounts["over_s"]
                ohm += 0.5 * gone / (1.0 - gone) if gone < 1.0 else math.inf
            elif what == "contact gets hot":
                ohm += amounts["ohm"] * -math.expm1(-since_s / amounts["over_s"])
            else:
                burning_c += min(amounts["rate_c_per_min"] / 60.0 * since_s, _HOTTEST_K)
        self._cell.creep_ohm, self._cell.burning_c = ohm, burning_c
