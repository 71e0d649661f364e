"""The form of what the line file says of alarms, interlocks and ventilation."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from supervisor.config.quantities import Delay, Duration
from supervisor.config.shape import Quantity, Table
from supervisor.core.effects import Also
from supervisor.core.setup import AlarmSetup, VentilationSetup

_ALARMS, _VENTILATION = AlarmSetup(), VentilationSetup()

LONGEST_SHELVING_S = 24 * 3600.0
"""No line file lets an alarm be shelved for longer. Common practice: until the next shift; no source."""

LEAST_AFTER_S = 60.0
"""Fumes are drawn off for minutes after current, whatever a line file says. Common practice, no source."""


class AlarmsTable(Table):
    """How alarms are told."""

    longest_shelving: Annotated[float, Quantity("time", above=0.0, most=LONGEST_SHELVING_S)] = Field(
        default=_ALARMS.longest_shelving_s, json_schema_extra={"default": "8 h"}
    )
    again_high: Duration = Field(
        default=_ALARMS.again_high_s,
        json_schema_extra={"default": "10 min"},
        description="an acknowledged one of high priority whose cause stands is told again after it",
    )
    again_medium: Duration = Field(default=_ALARMS.again_medium_s, json_schema_extra={"default": "30 min"})


class VentilationTable(Table):
    """How long fumes are drawn off before current and after it."""

    before: Delay = Field(default=_VENTILATION.before_s, json_schema_extra={"default": "30 s"})
    after: Annotated[float, Quantity("time", least=LEAST_AFTER_S)] = Field(
        default=_VENTILATION.after_s, json_schema_extra={"default": "5 min"}
    )


class InterlockTable(Table):
    """What one cause does on this line; what is not said is as in docs/interlocks.md."""

    effect: Literal["warn", "hold", "stop", "abort"] | None = Field(default=None, description="never a weaker one")
    also: list[Also] = Field(default_factory=list, description="beside what the table says")
    delay: Delay | None = Field(default=None, description="for so long the cause must be there before it counts")
