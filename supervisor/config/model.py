"""The form of the line file and of a device profile: every key, its kind, its default."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field, PlainValidator

from drivers import registers
from supervisor.config.acid import Acid
from supervisor.config.broker import MqttTable
from supervisor.config.shape import Name, Quantity, Table, quantity_error
from supervisor.core.setup import Mode
from supervisor.units import System


def _version(given: object) -> int:
    if type(given) is not int or given != 1:
        raise quantity_error(f"{given!r} is no version of this form"[:80], "write version = 1")
    return 1


def _raw_number(given: str) -> str:
    """A key of `states`: TOML has no numbers as keys."""
    if not (given.isdecimal() and given.isascii() and len(given) <= 5 and int(given) <= 65535):
        raise quantity_error(f"{given!r} is no raw register value"[:80], "write a number from 0 to 65535")
    return given


Version = Annotated[int, PlainValidator(_version, json_schema_input_type=Literal[1])]
Text = Annotated[str, Field(min_length=1, max_length=200)]
Register = Annotated[int, Field(ge=0, le=65535)]
RawNumber = Annotated[str, AfterValidator(_raw_number)]
Driver = Literal["modbus supply", "modbus module"]

Duration = Annotated[float, Quantity("time", above=0.0)]
Delay = Annotated[float, Quantity("time", least=0.0)]
Current = Annotated[float, Quantity("current", above=0.0)]
Voltage = Annotated[float, Quantity("voltage", above=0.0)]
Temperature = Annotated[float, Quantity("temperature")]
Deadband = Annotated[float, Quantity("temperature difference", least=0.0)]
Density = Annotated[float, Quantity("current density", above=0.0)]
Thickness = Annotated[float, Quantity("thickness", above=0.0)]
Volume = Annotated[float, Quantity("volume", above=0.0)]
Growth = Annotated[float, Quantity("growth", above=0.0)]
Altitude = Annotated[float, Quantity("altitude", least=-430.0, most=6000.0)]
Baud = Annotated[float, Quantity("bit rate", least=300.0, most=1_000_000.0)]


class LineTable(Table):
    """The line as a whole."""

    name: Name
    workshop: Text = ""
    altitude: Altitude
    units: System = Field(description="what people are shown; any unit may be written in the file")


class RecordsTable(Table):
    """Where the record is kept."""

    folder: Text = Field(description="relative to the line file, or absolute")


class LinkTable(Table):
    """One serial bus."""

    kind: Literal["modbus rtu"]
    port: Text = Field(description="the serial port, relative to the line file or absolute")
    speed: Baud
    parity: Literal["none", "even", "odd"]
    stop_bits: Annotated[int, Field(ge=1, le=2)]
    response_time_out: Duration


class TimingTable(Table):
    """How quick a device is."""

    worst_answer: Duration


class PointTable(Table):
    """One row of a register table: a number with scale and range, or a state with its words."""

    table: registers.Table
    address: Register = Field(description="as sent on the wire, from 0")
    kind: registers.NumberKind = "uint16"
    scale: Text | None = Field(default=None, description="what one count means, with its unit")
    offset: Text | None = Field(default=None, description="what zero counts mean, with its unit; zero if not said")
    range: Annotated[list[Text], Field(min_length=2, max_length=2)] | None = Field(
        default=None, description="least and greatest value the device can mean, with their units"
    )
    accuracy: Text | None = Field(default=None, description='limit of error, like "0.2 % of reading + 5 mA"')
    no_value: list[Register] = Field(default_factory=list, description="raw values that say there is no value")
    states: dict[RawNumber, Text] = Field(default_factory=dict, description="raw value to word")


class ProfileDocument(Table):
    """A device profile file."""

    version: Version
    name: Text
    driver: Driver
    timing: TimingTable
    points: dict[str, PointTable]


class DeviceTable(Table):
    """One device on a link; its registers stand in a profile file, or here as driver, timing and points."""

    link: Text
    unit: Annotated[int, Field(ge=1, le=247)]
    period: Duration
    profile: Text | None = Field(default=None, description="relative to the line file, or absolute")
    driver: Driver | None = None
    timing: TimingTable | None = None
    points: dict[str, PointTable] | None = None


class ChannelTable(Table):
    """One measured value; range and accuracy override the profile's."""

    device: Text
    point: Text
    range: Annotated[list[Text], Field(min_length=2, max_length=2)] | None = None
    accuracy: Text | None = None


class LimitsTable(Table):
    """Limits of a tank's temperature."""

    trip_low: Temperature
    warn_low: Temperature
    warn_high: Temperature
    trip_high: Temperature
    deadband: Deadband
    delay: Delay


class TankTable(Table):
    """One tank."""

    role: Literal["anodize"]
    volume: Volume
    acid: Acid
    temperature: Text = Field(description="the channel that measures it")
    limits: LimitsTable


class SupplyTable(Table):
    """One DC supply over one tank."""

    device: Text
    tank: Text
    output: Text
    rated_current: Current
    rated_voltage: Voltage
    cap_current: Current
    off_threshold: Current
    device_time_out: Duration | None = Field(
        default=None, description="after so long without traffic the device switches off by itself, if it can"
    )
    proof_deadline: Duration = Field(default=1.0, json_schema_extra={"default": "1 s"})
    resend: Duration = Field(default=0.25, json_schema_extra={"default": "250 ms"})


class OutputTable(Table):
    """One output and the state it has at start, at exit and on doubt."""

    role: Literal["supply output"]
    device: Text
    safe: Literal["off"]
    allow_slow_off: bool = Field(default=False, description="allow a worst off delay above 500 ms")


class GrowthTable(Table):
    """Thickness per charge per area of this line's parts: low, best and high bound."""

    low: Growth
    best: Growth
    high: Growth


class AnodizeTable(Table):
    """What an operation takes unless its request says otherwise."""

    mode: Mode
    density: Density
    highest_density: Density
    voltage: Voltage
    ramp: Delay
    ramp_step: Duration
    margin: Annotated[float, Field(gt=1.0, le=3.0, allow_inf_nan=False)] = 1.25
    thickest: Thickness = Field(
        default=35.0,
        json_schema_extra={"default": "35 um"},
        description="a target above this is refused; the default is common practice without a source",
    )
    target: Thickness | None = None


class LineDocument(Table):
    """A line file."""

    version: Version
    line: LineTable
    records: RecordsTable
    links: dict[Name, LinkTable]
    devices: dict[Name, DeviceTable]
    channels: dict[Name, ChannelTable]
    tanks: dict[Name, TankTable]
    supplies: dict[Name, SupplyTable]
    outputs: dict[Name, OutputTable]
    growth: GrowthTable
    anodize: AnodizeTable
    mqtt: MqttTable | None = None
