"""Checks of what the trade knows: ratings, densities, growth and targets."""

from __future__ import annotations

from supervisor.config.mistakes import Told
from supervisor.config.model import SupplyTable
from supervisor.config.profile import DeviceProfile
from supervisor.config.shape import known
from supervisor.config.wire import View
from supervisor.trade.alloys import ALLOYS, named
from supervisor.trade.coating import MIL_UM, RULE_720_UM_M2_PER_C
from supervisor.units import Kind, parse, show, split

FULL_EFFICIENCY_UM_M2_PER_C = 0.4552 * 0.01 / 60
"""The 720 rule (0.32774 um per A*min/dm^2) at 72.0 % charge efficiency, coat of 2.32 g/cm3 (AAMA 611): at 100 %."""

MOST_RIPPLE_AT_A_SPOT = 0.5
"""Above this a spot reading may be half or twice the mean: no stop can hang on it."""

THICKEST_UM = 100.0
LONGEST_SUPPLY_PERIOD_S = 60.0
LONGEST_PERIOD_S = 600.0


def trade(view: View, told: Told) -> None:
    """Run every check of the trade."""
    _supplies(view, told)
    _periods(view, told)
    _growth(view, told)
    _anodize(view, told)
    _target(view, told)
    _alloy(view, told)
    _restart(view, told)


def likely_slip(text: str, thickest_um: float) -> str:
    """Say what a target thicker than any coat of this kind was likely meant to be.

    `text` is the target as written, such as "1 mm"; the answer is a question, or what is allowed.
    Raises UnitMistake if `text` is no thickness.
    """
    written_um, number = parse(text, "thickness"), f"{split(text, 'thickness')[0]:g}"
    for unit in ("mil", "um"):
        if parse(f"{number} {unit}", "thickness") <= thickest_um:
            same = f"{text.strip()} is {written_um / MIL_UM:.3g} mil ({written_um:.4g} um)"
            return f"{same}; did you mean {number} {unit}?"
    return f"at most {thickest_um:g} um ({thickest_um / MIL_UM:.3g} mil)"


def _supplies(view: View, told: Told) -> None:
    for name, supply in view.document.supplies.items():
        _ratings(name, supply, told)
        profile = view.profiles.get(supply.device)
        if profile and supply.control is not None:
            _against_device(name, supply, profile, told)
        _ripple(name, supply, profile, told)
        voltage = view.document.anodize.voltage
        if known(voltage, supply.rated_voltage) and voltage > supply.rated_voltage:
            problem = f"it is above the rated voltage of supply {name}"
            told(("anodize", "voltage"), problem, f"at most {show(supply.rated_voltage, 'voltage', 'metric')}")


def _ratings(name: str, supply: SupplyTable, told: Told) -> None:
    where = ("supplies", name)
    if known(supply.cap_current, supply.rated_current) and supply.cap_current > supply.rated_current:
        right = f"at most the rating, {show(supply.rated_current, 'current', 'metric')}"
        told((*where, "cap_current"), "the cap is above the rated current", right)
    if known(supply.cap_current, supply.off_threshold) and supply.off_threshold > 0.1 * supply.cap_current:
        right = f"at most a tenth of cap_current, {show(0.1 * supply.cap_current, 'current', 'metric')}"
        told((*where, "off_threshold"), "a working current could count as off", right)
    if known(supply.resend, supply.proof_deadline) and supply.resend > supply.proof_deadline:
        told((*where, "resend"), "off would not be sent again before its deadline", "shorter than proof_deadline")


def _ripple(name: str, supply: SupplyTable, profile: DeviceProfile | None, told: Told) -> None:
    spot = profile is not None and profile.averages.averaging == "spot"
    if spot and (supply.ripple or 0.0) > MOST_RIPPLE_AT_A_SPOT:
        problem = "its meter takes spot readings, and with such a ripple one may be any part of the mean"
        told(("supplies", name, "ripple"), problem, "meter it with one that averages whole mains cycles")


def _against_device(name: str, supply: SupplyTable, profile: DeviceProfile, told: Told) -> None:
    """What the line asks of a supply must be what the device can set and measure."""
    pairs: tuple[tuple[str, float, Kind], ...] = (
        ("rated_current", supply.rated_current, "current"),
        ("rated_voltage", supply.rated_voltage, "voltage"),
    )
    for key, rated, kind in pairs:
        for point in (profile.points.get(f"set_{kind}"), profile.points.get(kind)):
            if point and known(rated) and rated > point.high:
                problem = f"it is above the device's range ({point.name}: at most {show(point.high, kind, 'metric')})"
                told(("supplies", name, key), problem, "write the rating on the plate; check the profile's range")
    for set_point in ("set_current", "set_voltage"):
        point = profile.points.get(set_point)
        if point and point.low > 0:
            problem = f"the range of its {set_point} does not begin at zero, and a soft start does"
            told(("supplies", name, "device"), problem, "check the profile's range, or use another supply")
    _device_time_out(name, supply, profile, told)
    zero = profile.accuracies.get("current")
    if zero and known(supply.off_threshold) and supply.off_threshold <= zero.absolute:
        shown = show(zero.absolute, "current", "metric")
        problem = f"the meter may show {shown} with no current, so off could never be proven"
        told(("supplies", name, "off_threshold"), problem, f"more than {shown}")


def _device_time_out(name: str, supply: SupplyTable, profile: DeviceProfile, told: Told) -> None:
    if supply.device_time_out is None or "time_out" in profile.broken or supply.control != "remote":
        return
    point = profile.points.get("time_out")
    if point is None:
        problem = "the device's register map names no time_out, so it would not switch off by itself"
        told(("supplies", name, "device_time_out"), problem, "remove it, or add the point from the device's manual")
    elif not max(point.low, point.scale) <= supply.device_time_out <= point.high:
        least = show(max(point.low, point.scale), "time", "metric")
        right = f"from {least} to {show(point.high, 'time', 'metric')}"
        told(("supplies", name, "device_time_out"), "the device cannot be set to it", right)


def _periods(view: View, told: Told) -> None:
    supplies = {supply.device for supply in view.document.supplies.values()}
    for name, device in view.document.devices.items():
        longest_s = LONGEST_SUPPLY_PERIOD_S if name in supplies else LONGEST_PERIOD_S
        if known(device.period) and device.period > longest_s:
            problem = "nobody would know for that long what goes on"
            told(("devices", name, "period"), problem, f'at most "{longest_s:g} s"; 200 ms to 1 s is usual')


def _growth(view: View, told: Told) -> None:
    growth = view.document.growth
    for lower, upper in (("low", "best"), ("best", "high")):
        low, high = getattr(growth, lower), getattr(growth, upper)
        if known(low, high) and low > high:
            told(("growth", upper), f"{upper} is below {lower}", "low <= best <= high")
    least, most = 0.25 * FULL_EFFICIENCY_UM_M2_PER_C, FULL_EFFICIENCY_UM_M2_PER_C
    for key in ("low", "best", "high"):
        value = getattr(growth, key)
        if known(value) and not least <= value <= most:
            low, high, rule = (show(factor, "growth", view.system) for factor in (least, most, RULE_720_UM_M2_PER_C))
            right = f"from {low} to {high}; the 720 rule is {rule}"
            told(("growth", key), f"{show(value, 'growth', view.system)} is no growth of a sulfuric coat", right)


def _anodize(view: View, told: Told) -> None:
    anodize = view.document.anodize
    if known(anodize.density, anodize.highest_density) and anodize.density > anodize.highest_density:
        right = f"at most highest_density, {show(anodize.highest_density, 'current density', view.system)}"
        told(("anodize", "density"), "it is above highest_density", right)
    if known(anodize.ramp, anodize.ramp_step) and 0 < anodize.ramp < anodize.ramp_step:
        told(("anodize", "ramp_step"), "it is longer than the whole ramp", "a part of ramp, such as a tenth")
    if known(anodize.ramp) and anodize.ramp > 3600:
        told(("anodize", "ramp"), "the ramp is longer than a load", 'at most "60 min"; 1 to 5 min is usual')
    if known(anodize.thickest) and anodize.thickest > THICKEST_UM:
        right = likely_slip(view.given["anodize"]["thickest"], THICKEST_UM)
        told(("anodize", "thickest"), "no sulfuric coat grows so thick", right)


def _restart(view: View, told: Told) -> None:
    anodize = view.document.anodize
    if known(anodize.restart_plain, anodize.restart_within) and anodize.restart_plain > anodize.restart_within:
        right = f"at most restart_within, {show(anodize.restart_within, 'time', view.system)}"
        told(("anodize", "restart_plain"), "a load would go on as if nothing had been after it is refused", right)


def _target(view: View, told: Told) -> None:
    anodize = view.document.anodize
    if known(anodize.target, anodize.thickest) and anodize.target and anodize.target > anodize.thickest:
        shown = show(anodize.thickest, "thickness", view.system)
        problem = f"no coat of this kind gets so thick; thickest is {shown}"
        told(
            ("anodize", "target"),
            problem,
            likely_slip(view.given["anodize"]["target"], min(anodize.thickest, THICKEST_UM)),
        )


def _alloy(view: View, told: Told) -> None:
    """An alloy of the table, and a density and a target that it bears, or every start would be refused."""
    anodize = view.document.anodize
    if not known(anodize.alloy) or not anodize.alloy:
        return
    alloy, unknown = named(anodize.alloy)
    for problem in unknown:
        told(("anodize", "alloy"), problem, f"one of {', '.join(ALLOYS)}, or several behind commas")
    if alloy is None:
        return
    if known(anodize.density) and anodize.density > alloy.highest_density_a_per_m2:
        right = f"at most {show(alloy.highest_density_a_per_m2, 'current density', view.system)}"
        told(("anodize", "density"), f"{alloy.name} is likely to burn at it", right)
    if known(anodize.target) and anodize.target and anodize.target > alloy.coat_limit_um:
        right = f"at most {show(alloy.coat_limit_um, 'thickness', view.system)}"
        told(("anodize", "target"), f"a coat on {alloy.name} chalks before it gets so thick", right)
