"""From the line file's tanks to the core's: limits, heating, cooling."""

from __future__ import annotations

from supervisor.config.believing import believe_of, stirred_s
from supervisor.config.load import LineFile
from supervisor.config.model_tanks import ATTENDED_S, CoolingTable, HeatingTable, LimitsTable
from supervisor.core.tank_setup import BandSetup, CoolingSetup, HeatingSetup, TankSetup
from supervisor.trade.boiling import heats_c_per_s


def tanks_of(line: LineFile) -> dict[str, TankSetup]:
    """Every tank as the core knows it, by name."""
    return {
        name: TankSetup(
            name,
            table.role,
            table.volume,
            table.acid or 0.0,
            table.temperature,
            _band(table.limits),
            _heating(table.heating, table.volume) if table.heating else None,
            _cooling(table.cooling) if table.cooling else None,
            surface_m2=table.surface or 0.0,
            lid=table.lid,
            believe=believe_of(line, name),
            second=(table.believe.second if table.believe else None) or "",
            stirred_s=stirred_s(line, name),
        )
        for name, table in line.document.tanks.items()
    }


def attended_s(heating: HeatingTable) -> float | None:
    """Time after a person's last request for which it heats, s; None where it heats unattended as well."""
    if heating.unattended:
        return None
    return ATTENDED_S if heating.attended is None else heating.attended


def _band(limits: LimitsTable) -> BandSetup:
    return BandSetup(
        limits.trip_low, limits.warn_low, limits.warn_high, limits.trip_high, limits.deadband, limits.delay
    )


def _heating(table: HeatingTable, volume_l: float) -> HeatingSetup:
    return HeatingSetup(
        output=table.output,
        hold_c=table.hold,
        band_c=table.band,
        least_on_s=table.least_on,
        least_off_s=table.least_off,
        rise_c_per_s=heats_c_per_s(table.power, volume_l),
        rise_within_s=table.rise_within,
        level=table.level or "",
        attended_s=attended_s(table),
    )


def _cooling(table: CoolingTable) -> CoolingSetup:
    return CoolingSetup(
        output=table.output,
        hold_c=table.hold,
        band_c=table.band,
        least_on_s=table.least_on,
        least_off_s=table.least_off,
        fall_within_s=table.fall_within,
    )
