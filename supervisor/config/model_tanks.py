"""The form of what the line file says of tanks: limits, heating, cooling."""

from __future__ import annotations

from pydantic import Field

from supervisor.config.acid import Acid
from supervisor.config.quantities import Area, Band, Deadband, Delay, Duration, Power, Temperature, Text, Volume
from supervisor.config.shape import Table
from supervisor.core.tank_setup import TankRole

ATTENDED_S = 3600.0
"""For so long after a person's last request a tank is heated where nothing is said. Common practice, no source."""


class LimitsTable(Table):
    """Limits of a tank's temperature."""

    trip_low: Temperature
    warn_low: Temperature
    warn_high: Temperature
    trip_high: Temperature
    deadband: Deadband
    delay: Delay


class HeatingTable(Table):
    """How a tank's heater is controlled: on below `hold` less half the band, off above `hold` and half the band."""

    output: Text = Field(description="the heater")
    hold: Temperature
    band: Band
    least_on: Delay = Field(default=30.0, json_schema_extra={"default": "30 s"})
    least_off: Delay = Field(default=30.0, json_schema_extra={"default": "30 s"})
    power: Power = Field(description="of the heater; the rise to expect is computed from it")
    rise_within: Duration = Field(
        default=600.0,
        json_schema_extra={"default": "10 min"},
        description="time with the heater on after which a third of the rise to expect must have been seen",
    )
    level: Text | None = Field(default=None, description="the contact that shows liquid over heater and sensor")
    without_level: Text | None = Field(default=None, description="why there is no such contact")
    attended: Duration | None = Field(
        default=None,
        json_schema_extra={"default": "1 h"},
        description="for so long after a person's last request it heats",
    )
    unattended: bool = Field(
        default=False, description="whether it heats though nobody has asked for anything for long"
    )


class CoolingTable(Table):
    """How a tank's cooling is controlled: on above `hold` and half the band, off below `hold` less half the band."""

    output: Text = Field(description="the cooling")
    hold: Temperature
    band: Band
    least_on: Delay = Field(default=60.0, json_schema_extra={"default": "1 min"})
    least_off: Delay = Field(
        default=240.0, json_schema_extra={"default": "4 min"}, description="a compressor's rest between two starts"
    )
    fall_within: Duration = Field(
        default=900.0,
        json_schema_extra={"default": "15 min"},
        description="time with the cooling on in which the temperature must have fallen",
    )


class BelieveTable(Table):
    """What the readings of a tank's temperature must be like to be believed; what is left out follows from the rest."""

    most_per_minute: Band | None = Field(default=None, description="the most by which this bath moves in a minute")
    jump: Band | None = Field(default=None, description="what readings may be off beside that")
    second: Text | None = Field(default=None, description="the channel of the tank's second sensor")
    apart: Band | None = Field(
        default=None, json_schema_extra={"default": "1 degC"}, description="by how much the two may differ"
    )
    stirred: Delay | None = Field(
        default=None,
        json_schema_extra={"default": "60 s of an acid tank with agitation, else 0 s"},
        description="for so long its agitation must have run before a reading is its bath's",
    )


class TankTable(Table):
    """One tank."""

    role: TankRole
    volume: Volume
    surface: Area | None = Field(
        default=None, description="open surface of its liquid; the forecast of its warm-up is surer with it"
    )
    lid: bool = Field(default=False, description="whether a lid keeps its vapour in while it warms up")
    acid: Acid | None = Field(default=None, description="its strength; an anodize tank has one")
    temperature: Text = Field(description="the channel that measures it")
    limits: LimitsTable
    heating: HeatingTable | None = None
    cooling: CoolingTable | None = None
    believe: BelieveTable | None = None
