"""A load: the parts hung together, with what is asked for and what became of it."""

from __future__ import annotations

from dataclasses import dataclass

from supervisor.trade.charge import Interval

REMEMBERED_LOADS = 1000
"""Loads kept, newest first: about a year of a busy line. An older one's name may be given again."""


@dataclass(frozen=True, slots=True)
class Load:
    """One load.

    Attributes:
        id: as the person named it, or numbered by the line. area_m2: wetted area. target_um: thickness wanted.
        operation: the anodize operation it went through. suspect: why it may be spoiled; "" if nothing says so.
        alloy: as named for it, "" where nobody said. gauge: why its coat must be gauged; "" if nothing says so.
        tank: in which it was anodized. grew: the charge that grew its coat, C, once its operation was reset; None
            before, and where nothing bounds it.
    """

    id: str
    area_m2: float
    target_um: float
    operation: str
    suspect: str = ""
    alloy: str = ""
    gauge: str = ""
    tank: str = ""
    grew: Interval | None = None


REMEMBERED_GAUGED = 500
"""Gauged loads kept, newest first; each stands by itself, also when its load is forgotten."""


@dataclass(frozen=True, slots=True)
class Gauged:
    """What a gauge said of a load, with all that is needed to learn from it.

    Attributes:
        load: its id. alloy, tank, area_m2: the load's. grew: the charge that grew its coat, C. readings_um: as gauged.
        suspect: why nothing is learned from it; "" where nothing is against it.
        wall_s: when it was gauged, for people. who: by whom it was told.
    """

    load: str
    alloy: str
    tank: str
    area_m2: float
    grew: Interval
    readings_um: tuple[float, ...]
    suspect: str
    wall_s: float
    who: str
