"""From a line file to what the core and the drivers take."""

from __future__ import annotations

from drivers.points import DeviceMap, LinkSettings, Point
from supervisor.config.averages import meter_of
from supervisor.config.channels import SUPPLY_CHANNELS, automatic_channels
from supervisor.config.load import LineFile
from supervisor.config.model import LineDocument, OutputTable
from supervisor.config.off_delay import OffDelay, settling_s
from supervisor.config.setting import channel_accuracy, channel_span, channel_unit
from supervisor.config.setup_alarms import alarms_of, contact_of, interlocks_of, ventilation_of
from supervisor.config.setup_tanks import tanks_of
from supervisor.config.watching import AGE_PERIODS, heartbeats, watches
from supervisor.config.wire import View, links_of, maps_of, off_delays_of
from supervisor.core.setup import (
    Accuracy,
    AnodizeSetup,
    CalibrationSetup,
    ChannelSetup,
    GrowthSetup,
    LineSetup,
    OutputSetup,
    SupplySetup,
    ThermocoupleSetup,
)

REACHED_FRACTION = 0.1
LOST_AFTER_S = 1.0
"""Current under a tenth of the set one for a second, while commanded on, is a lost contact."""


def link_settings(line: LineFile) -> dict[str, LinkSettings]:
    """The line's links as the drivers know them, by name."""
    return {name: settings for name, (settings, _) in links_of(_view(line)).items()}


def device_maps(line: LineFile) -> dict[str, DeviceMap]:
    """The line's devices as the drivers know them, by name."""
    return maps_of(line.document, line.profiles)


def worst_off_delays(line: LineFile) -> dict[str, OffDelay]:
    """The worst delay of every output's off command, first try, by output."""
    return off_delays_of(_view(line))


def line_setup(line: LineFile, speed: float = 1.0) -> LineSetup:
    """The line as the core sees it.

    `speed` is process seconds per wire second, above 0: a reading may be as old as the wire makes it.
    """
    document = line.document
    channels = _channels(line, speed)
    growth = document.growth
    return LineSetup(
        name=document.line.name,
        channels=channels,
        tanks=tanks_of(line),
        supplies={name: _supply(name, line, channels) for name in document.supplies},
        outputs={name: _output(name, table) for name, table in document.outputs.items()},
        growth=GrowthSetup(growth.low, growth.best, growth.high, growth.area_error, growth.area_error_by_load),
        anodize=_anodize(document),
        units=line.system,
        contacts={name: contact_of(name, table) for name, table in document.contacts.items()},
        heartbeats=heartbeats(line, channels),
        watches=watches(line, channels),
        interlocks=interlocks_of(document),
        ventilation=ventilation_of(document),
        alarms=alarms_of(document),
        calibration=CalibrationSetup(document.calibration.largest_temperature, document.calibration.largest_of_rating),
    )


def _view(line: LineFile) -> View:
    return View(line.folder, line.document, line.profiles, {})


def _age_floors(line: LineFile, speed: float) -> dict[str, float]:
    """Process time a good reading of each device may be late, though nothing is wrong with it.

    While every device of the link is silent once, each costs its response time-out and the quiet after it;
    twice that, for a reading that just missed its turn.
    """
    floors = {}
    for settings, devices in links_of(_view(line)).values():
        rest_s = settings.quiet_s + settling_s(settings)
        worst_s = len(devices) * (settings.response_time_out_s + settings.quiet_after_silence_s + rest_s)
        floors.update({device.name: speed * 2 * worst_s for device in devices})
    return floors


def _channels(line: LineFile, speed: float) -> dict[str, ChannelSetup]:
    floors = _age_floors(line, speed)
    channels: dict[str, ChannelSetup] = {}

    def add(
        name: str, device: str, point: Point, unit: str, span: tuple[float, float], accuracy: Accuracy,
        thermocouple: ThermocoupleSetup | None = None,
    ) -> None:  # fmt: skip
        table = line.document.devices[device]
        period_s = table.periods.get(point.name, table.period)
        age_s = max(AGE_PERIODS * period_s, floors[device])
        channels[name] = ChannelSetup(
            name, device, point.name, unit, *span, accuracy, period_s, age_s, thermocouple
        )  # fmt: skip

    for name, table in line.document.channels.items():
        profile = line.profiles[table.device]
        point = profile.points[table.point]
        span = channel_span(table, line.profiles) or (point.low, point.high)
        couple = None
        if table.thermocouple is not None and table.cold_junction is not None:
            couple = ThermocoupleSetup(table.thermocouple, table.cold_junction)
        add(name, table.device, point, channel_unit(table, point), span, channel_accuracy(table, profile), couple)
    for name, auto in automatic_channels(line.document, line.profiles).items():
        profile = line.profiles[auto.device]
        point = profile.points[auto.point]
        exact = Accuracy(0.0, point.scale if point.unit else 0.0)
        accuracy = profile.accuracies.get(auto.point, exact)
        if auto.point == "charge" and accuracy.absolute == 0:  # its step: the core compares by it
            accuracy = Accuracy(accuracy.of_reading, point.scale)
        add(name, auto.device, point, point.unit, (point.low, point.high), accuracy)
    return channels


def _output(name: str, table: OutputTable) -> OutputSetup:
    return OutputSetup(
        name,
        table.role,
        safe_on=table.safe == "on",
        device=table.device,
        point=table.point or "",
        tank=table.tank or "",
        auxiliary=table.auxiliary,
        colour=table.colour or "",
        breaks=table.breaks or "",
    )


def _supply(name: str, line: LineFile, channels: dict[str, ChannelSetup]) -> SupplySetup:
    table = line.document.supplies[name]
    points = line.profiles[table.device].points
    remote = table.control == "remote"
    names = {point: f"{name}-{end}" for end, point in SUPPLY_CHANNELS.items() if f"{name}-{end}" in channels}
    stepped = ("set_current", "set_voltage") if remote else ("current", "voltage")
    return SupplySetup(
        name=name,
        device=table.device,
        output=table.output or "",
        tank=table.tank,
        current=names["current"],
        voltage=names["voltage"],
        output_state=names.get("output", ""),
        mode=names.get("mode", ""),
        set_current=names.get("set_current", ""),
        set_voltage=names.get("set_voltage", ""),
        rated_current_a=table.rated_current,
        rated_voltage_v=table.rated_voltage,
        cap_current_a=table.cap_current,
        current_step_a=points[stepped[0]].scale,
        voltage_step_v=points[stepped[1]].scale,
        off_threshold_a=table.off_threshold,
        proof_deadline_s=table.proof_deadline,
        resend_s=table.resend,
        silent_after_s=channels[names["current"]].age_limit_s,
        contactor=table.contactor,
        device_time_out_s=table.device_time_out,
        control=table.control,
        uptime=names.get("uptime", ""),
        restarted=names.get("restarted", ""),
        counter=names.get("charge", ""),
        meter=meter_of(table, line.profiles[table.device].averages),
        counts=channels[names["charge"]].accuracy if "charge" in line.profiles[table.device].accuracies else None,
    )


def _anodize(document: LineDocument) -> AnodizeSetup:
    table = document.anodize
    return AnodizeSetup(
        mode=table.mode,
        density_a_per_m2=table.density,
        highest_density_a_per_m2=table.highest_density,
        voltage_v=table.voltage,
        ramp_s=table.ramp,
        ramp_step_s=table.ramp_step,
        margin=table.margin,
        thickest_um=table.thickest,
        reached_fraction=REACHED_FRACTION,
        lost_after_s=LOST_AFTER_S,
        target_um=table.target,
        stops_on=table.stops_on,
        alloy=table.alloy or "",
        rack_spread=table.rack_spread,
        target_means=table.target_means,
        restart_plain_s=table.restart_plain,
        restart_within_s=table.restart_within,
    )
