"""What a tank's temperature must be like to be believed, from what the line file says of the tank and around it."""

from __future__ import annotations

from drivers.registers import Register
from supervisor.config.load import LineFile
from supervisor.config.model_tanks import BelieveTable, TankTable
from supervisor.core.tank_setup import BelieveSetup
from supervisor.trade.boiling import heats_c_per_s
from supervisor.trade.heat import cell_heat_w

BATH_C_PER_S = 0.2 / 60
"""A real bath of 8 to 200 L moves by 0.2 degC/min at most (from memory)."""

MARGIN = 1.5
"""So much faster a bath may move than it is known to: mains, level and mixing (common practice, no source)."""

JUMP_C = 0.3
APART_C = 1.0
STIRRED_S = 60.0


def believe_of(line: LineFile, name: str) -> BelieveSetup:
    """What is believed of a tank's readings: from its own table, or from heater, supplies and sensor."""
    tank = line.document.tanks[name]
    own = tank.believe or BelieveTable()
    fastest = MARGIN * _fastest_c_per_s(line, name, tank) if own.most_per_minute is None else own.most_per_minute / 60
    jump_c = max(JUMP_C, 2 * _step_c(line, tank)) if own.jump is None else own.jump
    return BelieveSetup(fastest, jump_c, APART_C if own.apart is None else own.apart)


def stirred_s(line: LineFile, name: str) -> float:
    """For how long a tank's agitation must have run; 0 where it has none, or is no acid's."""
    document = line.document
    tank = document.tanks[name]
    own = tank.believe.stirred if tank.believe is not None else None
    if own is not None or tank.role != "anodize":
        return own or 0.0
    outputs = any(one.role == "agitation" and one.tank in {name, None} for one in document.outputs.values())
    contacts = any(one.proves == "agitation" and one.tank in {name, None} for one in document.contacts.values())
    return STIRRED_S if outputs or contacts else 0.0


def _fastest_c_per_s(line: LineFile, name: str, tank: TankTable) -> float:
    """The fastest a bath may move by what warms it, never less than a bath does anyway."""
    document = line.document
    heater_w = tank.heating.power if tank.heating is not None else 0.0
    voltage_v = document.anodize.voltage
    cell_w = sum(
        cell_heat_w(of.cap_current or of.rated_current, voltage_v)
        for of in document.supplies.values()
        if of.tank == name
    )
    return max(BATH_C_PER_S, heats_c_per_s(heater_w + cell_w, tank.volume))


def _step_c(line: LineFile, tank: TankTable) -> float:
    """What one count of the sensor's device means, where it is one that sends counts of degrees, K; else 0."""
    channel = line.document.channels[tank.temperature]
    point = line.profiles[channel.device].points[channel.point]
    return point.scale if isinstance(point, Register) and point.unit == "degC" else 0.0
