"""The one cause x effect table, whole: every cause that can stand, and which of several decides."""

from __future__ import annotations

from supervisor.core import rows_of_line, rows_of_load, rows_of_supply, rows_of_tank
from supervisor.core.effects import Effect, Interlock, Row

CAUSES: dict[str, Row] = {**rows_of_line.ROWS, **rows_of_supply.ROWS, **rows_of_load.ROWS, **rows_of_tank.ROWS}


def standard_interlocks() -> dict[str, Interlock]:
    """What every cause does where the line file says nothing."""
    return {cause: row.standard for cause, row in CAUSES.items()}


def strongest(causes: dict[str, Effect]) -> str | None:
    """Name the cause with the strongest effect, of equals the first in the table; None where there is none.

    So a device that fell silent is named before what is missed because of it.
    """
    standing = [cause for cause in CAUSES if cause in causes]
    return max(standing, key=lambda cause: causes[cause], default=None)
