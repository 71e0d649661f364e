"""The smallest loss of contact that is seen in time on each supply, as far as its meters decide it."""

from __future__ import annotations

from dataclasses import dataclass

from supervisor.config.load import LineFile
from supervisor.config.setup import line_setup
from supervisor.core import watching
from supervisor.core.electrical import WITHIN_S

SMALL_LOAD = 0.1
"""A load of a tenth of what the supply may give stands for small ones: a meter's error in A counts for more there."""


@dataclass(frozen=True, slots=True)
class LeastLoss:
    """One supply's.

    Attributes:
        within_s: process time in which a sudden loss is told, s.
        of_large, of_small: share of the area, 0 to 1, of a load that takes the capped current, and a tenth of it.
    """

    within_s: float
    of_large: float
    of_small: float


def least_losses(line: LineFile) -> dict[str, LeastLoss]:
    """The least loss that each supply's meters show at the line's own density, by supply."""
    setup, found = line_setup(line), {}
    for name, supply in setup.supplies.items():
        of_large, of_small = (
            watching.least_loss(setup, supply, share * supply.cap_current_a) for share in (1.0, SMALL_LOAD)
        )
        found[name] = LeastLoss(WITHIN_S, of_large, of_small)
    return found
