"""How baths go on, in plain words: when a tank is ready, where a load's bath ends, what gas comes off."""

from __future__ import annotations

from typing import Any

from supervisor.units import System, show


def about(seconds: float) -> str:
    """Say a time that is known to the minute at best."""
    hours, minutes = divmod(max(1, round(seconds / 60)), 60)
    return f"{hours} h {minutes:02d} min" if hours else f"{minutes} min"


def ready_text(tank: dict[str, Any], system: System) -> str:
    """Tell when a tank that warms up is as warm as it is to be held; "" of one that does not."""
    ready = tank["ready"]
    if ready is None:
        return ""
    at, (low_s, best_s, high_s) = show(ready["at_c"], "temperature", system), ready["to_go_s"].values()
    if best_s is None:
        early = "" if low_s is None else f", or gets there in {about(low_s)} at the earliest"
        return f"will not reach {at}: levels off near {show(ready['levels_off_c'], 'temperature', system)}{early}"
    until = f"{about(low_s)} at the earliest, perhaps never" if high_s is None else f"{about(low_s)} to {about(high_s)}"
    return f"at {at} in {about(best_s)} ({until})"


def end_text(tank: dict[str, Any], system: System) -> str:
    """Tell where a bath under current stands when its load is done; "" while that is not known."""
    end = tank["end"]
    if end is None:
        return ""
    low, best, high = (show(end["temperature_c"][key], "temperature", system) for key in ("low", "best", "high"))
    uncooled = show(end["uncooled_c"], "temperature", system)
    alone = "" if end["cooling"] == "none" else f"; without its cooling {uncooled}"
    failed = " (its cooling does not cool)" if end["cooling"] == "failed" else ""
    return f"{best} when the load is done ({low} to {high}){failed}{alone}{_too_hot(end, system)}"


def brief(tank: dict[str, Any], system: System) -> str:
    """The same in a few words, what is too hot first; "" where there is nothing to tell."""
    ready, end = tank["ready"], tank["end"]
    if end is not None and end["limit_s"] is not None:
        return f"TOO HOT in {about(end['limit_s'])}"
    if ready is not None:
        best_s = ready["to_go_s"]["best"]
        return "never warm enough" if best_s is None else f"ready in {about(best_s)}"
    return "" if end is None else f"ends at {show(end['temperature_c']['best'], 'temperature', system)}"


def hydrogen_text(supply: dict[str, Any], system: System) -> str:
    """Tell what hydrogen comes off at most; "" while none does."""
    rate = supply["hydrogen_l_per_s"]
    return f"hydrogen {show(rate * 3600, 'volume', system)}/h at most" if rate else ""


def _too_hot(end: dict[str, Any], system: System) -> str:
    if end["limit_s"] is None:
        return ""
    bearable_a = end["bearable_a"]
    does = "no smaller current" if bearable_a is None else show(bearable_a, "current", system)
    return f"; TOO HOT, {show(end['limit_c'], 'temperature', system)}, in {about(end['limit_s'])}: {does} avoids it"
