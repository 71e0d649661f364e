"""The form of the line file and of a device profile: every key, its kind, its default."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field, PlainValidator

from drivers import registers
from drivers.catalog import drivers
from drivers.points import LinkKind
from supervisor.config.broker import MqttTable
from supervisor.config.mistakes import nearest
from supervisor.config.model_alarms import AlarmsTable, InterlockTable, VentilationTable
from supervisor.config.model_tanks import TankTable
from supervisor.config.quantities import (
    Altitude,
    Baud,
    Current,
    Delay,
    Density,
    Duration,
    Growth,
    Ripple,
    Share,
    Text,
    Thickness,
    Voltage,
)
from supervisor.config.shape import Name, Quantity, Table, quantity_error
from supervisor.core.setup import ContactRole, Control, Mode, OutputRole, TargetMeans, ThermocoupleKind
from supervisor.trade.charge import Bound
from supervisor.trade.metering import Averaging, Shows
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


def _driver(given: str) -> str:
    if given not in drivers():
        raise quantity_error(f"there is no driver {given!r}"[:80], nearest(given, drivers(), ""))
    return given


Version = Annotated[int, PlainValidator(_version, json_schema_input_type=Literal[1])]
Register = Annotated[int, Field(ge=0, le=65535)]
RawNumber = Annotated[str, AfterValidator(_raw_number)]
Driver = Annotated[
    str, AfterValidator(_driver), Field(description="one of the catalog's, or of an installed package's")
]
BitNumber = Annotated[str, AfterValidator(_raw_number)]


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
    """One link: a serial port, or a host on the network."""

    kind: LinkKind
    port: Text | None = Field(default=None, description="the serial port, relative to the line file or absolute")
    speed: Baud | None = None
    parity: Literal["none", "even", "odd"] | None = None
    stop_bits: Annotated[int, Field(ge=1, le=2)] | None = None
    host: Text | None = Field(default=None, description='of "modbus tcp": name or address, its port behind a colon')
    response_time_out: Duration


class TimingTable(Table):
    """How quick a device is, and what rest it wants."""

    worst_answer: Duration
    quiet: Delay = Field(
        default=0.0, json_schema_extra={"default": "0 s"}, description="rest after each exchange before the next"
    )
    settle: Delay = Field(
        default=0.0, json_schema_extra={"default": "0 s"}, description="rest after its link was opened"
    )
    open_each_scan: bool = Field(default=False, description="whether its link is opened anew for each reading")
    keep: Duration | None = Field(
        default=None, description="for so long a board holds its relays without a sign of life"
    )


class ReadingTable(Table):
    """How registers near each other are read together."""

    widest_hole: Annotated[int, Field(ge=0, le=125)] = Field(
        default=0, description="registers that nobody wants and that a read may pass over"
    )
    longest_read: Annotated[int, Field(ge=0, le=2000)] = Field(
        default=0, description="registers or bits one read may ask for; 0: what the protocol allows"
    )


class PointTable(Table):
    """One row of a device's table: a number with scale and range, or a state with its words."""

    table: registers.Table | None = None
    address: Register | None = Field(default=None, description="as sent on the wire, from 0")
    kind: registers.NumberKind = "uint16"
    order: registers.WordOrder = Field(default="ABCD", description="of the bytes of 32 bits as they pass")
    write_many: bool = Field(default=False, description="write it with function 15 or 16 although it is one")
    label: Text | None = Field(default=None, description="what a board calls it in its sentences")
    query: Text | None = Field(default=None, description="what asks a device that speaks in text for it")
    command: Text | None = Field(default=None, description="what sets it there, before the value")
    bits: dict[BitNumber, Text] = Field(default_factory=dict, description="bit number to word, for a state told so")
    scale: Text | None = Field(default=None, description="what one count means, with its unit")
    offset: Text | None = Field(default=None, description="what zero counts mean, with its unit; zero if not said")
    range: Annotated[list[Text], Field(min_length=2, max_length=2)] | None = Field(
        default=None, description="least and greatest value the device can mean, with their units"
    )
    accuracy: Text | None = Field(default=None, description='limit of error, like "0.2 % of reading + 0.05 % of range"')
    averaging: Averaging | None = Field(
        default=None, description="of a current: how the meter smooths it; spot readings if nobody says"
    )
    averaging_time: Duration | None = Field(default=None, description="its window, or its filter's time constant")
    shows: Shows | None = Field(default=None, description="of a current: its mean if not said")
    no_value: list[Register] = Field(default_factory=list, description="raw values that say there is no value")
    states: dict[RawNumber, Text] = Field(default_factory=dict, description="raw value to word")


class ProfileDocument(Table):
    """A device profile file."""

    version: Version
    name: Text
    driver: Driver
    timing: TimingTable
    reading: ReadingTable = ReadingTable()
    opening: list[Text] = Field(default_factory=list, description="texts sent once after opening, like SYST:REM")
    points: dict[str, PointTable]


class DeviceTable(Table):
    """One device on a link; its points stand in a profile file, or here as driver, timing and points."""

    link: Text
    unit: Annotated[int, Field(ge=1, le=247)] | None = Field(default=None, description="its Modbus unit id")
    period: Duration = Field(description="between two readings; of a board that speaks by itself, between two of its")
    periods: dict[str, Duration] = Field(
        default_factory=dict, description="own periods, by point; the others have the device's"
    )
    profile: Text | None = Field(default=None, description="relative to the line file, or absolute")
    driver: Driver | None = None
    timing: TimingTable | None = None
    reading: ReadingTable | None = None
    opening: list[Text] | None = None
    points: dict[str, PointTable] | None = None


class ChannelTable(Table):
    """One measured value; range and accuracy override the profile's."""

    device: Text
    point: Text
    thermocouple: ThermocoupleKind | None = Field(
        default=None, description="where the point is a thermocouple's voltage: its type"
    )
    cold_junction: Text | None = Field(default=None, description="then the point of its cold junction's temperature")
    range: Annotated[list[Text], Field(min_length=2, max_length=2)] | None = None
    accuracy: Text | None = None


class SupplyTable(Table):
    """One DC supply over one tank."""

    device: Text = Field(description="the supply, or where it has knobs only, what meters it")
    tank: Text
    control: Control = Field(default="remote", description="by wire; by knobs with a contactor; by knobs alone")
    output: Text | None = Field(default=None, description="the supply output, where control is remote")
    contactor: Text | None = Field(default=None, description="the contactor that can break its circuit")
    rated_current: Current
    rated_voltage: Voltage
    cap_current: Current
    off_threshold: Current
    device_time_out: Duration | None = Field(
        default=None, description="after so long without traffic the device switches off by itself, if it can"
    )
    ripple: Ripple | None = Field(
        default=None, description="how far the current strays from its mean at most; 10 % if nobody says"
    )
    mains: Literal["50 Hz", "60 Hz"] | None = Field(default=None, description="it ripples at twice that")
    proof_deadline: Duration = Field(default=1.0, json_schema_extra={"default": "1 s"})
    resend: Duration = Field(default=0.25, json_schema_extra={"default": "250 ms"})


class OutputTable(Table):
    """One output and the state it has at start, at exit and on doubt."""

    role: OutputRole
    device: Text
    point: Text | None = Field(
        default=None, description="its device's point that switches it; a supply output has none"
    )
    safe: Literal["off", "open", "on"] = Field(description="a contactor's is open, a supply output's and heater's off")
    tank: Text | None = Field(default=None, description="the tank it belongs to")
    auxiliary: Text | None = Field(default=None, description="of a contactor: the contact that shows it closed")
    allow_slow_off: bool = Field(default=False, description="allow a worst off delay above 500 ms")
    colour: Literal["red", "yellow", "green", "blue", "white"] | None = Field(default=None, description="of a lamp")
    breaks: Literal["mains", "direct current"] | None = Field(
        default=None,
        description="of a contactor: the supply's mains, or the bath's circuit, for which it must be rated",
    )


class ContactTable(Table):
    """One contact, closed when healthy: of an acid tank's lid while that is open; of a button while it is pressed."""

    role: ContactRole
    device: Text
    point: Text
    tank: Text | None = Field(default=None, description="the tank it belongs to; without one, the whole line")
    proves: Literal["ventilation", "agitation"] | None = Field(
        default=None, description="of moving air; an air flow's is ventilation, an air pressure's agitation if not said"
    )
    does: Literal["silence", "acknowledge", "test"] | None = Field(default=None, description="of a button")


class GrowthTable(Table):
    """Thickness per charge per area of this line's parts: low, best and high bound."""

    low: Growth
    best: Growth
    high: Growth
    area_error: Share = Field(
        default=0.05,
        json_schema_extra={"default": "5 %"},
        description="limit of error of the areas told at a start, as far as it is the same in every load",
    )
    area_error_by_load: Share = Field(
        default=0.02,
        json_schema_extra={"default": "2 %"},
        description="as far as it differs from load to load; the defaults are common practice without a source",
    )


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
    stops_on: Bound = Field(default="best", description="the bound of the charge that must reach the target")
    target_means: TargetMeans = Field(default="mean", description="which thickness a target is")
    alloy: Text | None = Field(
        default=None, description='of loads that name none, such as "6061"; its growth goes before [growth]'
    )
    rack_spread: Share = Field(
        default=0.15,
        json_schema_extra={"default": "15 %"},
        description="by so much the coat is expected to differ from its mean, either way, across a rack",
    )
    restart_plain: Delay = Field(
        default=120.0,
        json_schema_extra={"default": "2 min"},
        description="off the current in acid up to so long a held load goes on; later its coat must be gauged",
    )
    restart_within: Delay = Field(
        default=600.0, json_schema_extra={"default": "10 min"}, description="after so long it is not restarted"
    )


class CalibrationTable(Table):
    """How much of an instrument is put right by its calibration; a larger correction is refused."""

    largest_temperature: Annotated[float, Quantity("temperature difference", above=0.0, most=5.0)] = Field(
        default=2.0,
        json_schema_extra={"default": "2 degC"},
        description="of a thermometer; the defaults are common practice without a source",
    )
    largest_of_rating: Annotated[float, Quantity("fraction", above=0.0, most=0.1)] = Field(
        default=0.02,
        json_schema_extra={"default": "2 %"},
        description="of a supply's current and volt meter, a share of its rated current or voltage",
    )


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
    outputs: dict[Name, OutputTable] = Field(default_factory=dict)
    contacts: dict[Name, ContactTable] = Field(default_factory=dict)
    growth: GrowthTable
    anodize: AnodizeTable
    calibration: CalibrationTable = Field(default_factory=CalibrationTable)
    alarms: AlarmsTable = Field(default_factory=AlarmsTable)
    ventilation: VentilationTable = Field(default_factory=VentilationTable)
    interlocks: dict[Name, InterlockTable] = Field(default_factory=dict, description="by cause")
    mqtt: MqttTable | None = None
