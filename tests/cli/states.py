"""A line's state as the service tells it, for tests of what is shown."""

from __future__ import annotations

import copy
from typing import Any

RUNNING: dict[str, Any] = {
    "version": 1,
    "ok": True,
    "line": "bench",
    "units": "metric",
    "at": {"process_s": 6000.0, "wire_s": 100.0, "wall_s": 1.8e9},
    "watch_only": False,
    "speed": 1.0,
    "supplies": {
        "main": {
            "state": "running",
            "control": "remote",
            "waits_for_hands": False,
            "wanted_on": True,
            "off_proven": False,
            "current_a": 1.952,
            "voltage_v": 16.33,
            "voltage_held": False,
            "contactor": None,
            "hydrogen_l_per_s": 2.43e-4,
            "operation": {
                "id": "bench-1",
                "load": "load-1",
                "suspect": "",
                "why": "",
                "mode": "current",
                "area_m2": 0.013,
                "alloy": "6061",
                "gauge": "",
                "target": {"thickness_um": 20.0, "means": "mean", "charge_c": 4760.0},
                "set_current_a": 1.95,
                "set_voltage_v": 22.0,
                "expected_s": 2471.0,
                "longest_s": 3089.0,
                "elapsed_s": 1500.0,
                "charge_c": {"low": 2862.0, "best": 2880.0, "high": 2898.0},
                "charge_unbounded": False,
                "stops_on": "best",
                "thickness_um": {"low": 10.5, "best": 12.1, "high": 12.5},
                "band_um": {"low": 11.0, "best": 12.1, "high": 13.2},
                "learned_from": 0,
                "least_local_um": {"low": 8.9, "best": 10.3, "high": 10.6},
                "spread_um": {"low": 10.3, "best": 12.1, "high": 13.9},
                "mass_g_per_m2": {"low": 24.0, "best": 27.6, "high": 28.5},
                "mass_lost_share": 0.014,
                "porosity_share": 0.105,
                "barren_c": 0.0,
                "to_go_s": 962.0,
            },
        }
    },
    "tanks": {
        "acid": {
            "role": "anodize",
            "temperature_c": 20.6,
            "reading": "good",
            "low_c": 19.0,
            "high_c": 22.0,
            "heating": None,
            "cooling": None,
            "ready": None,
            "end": None,
        }
    },
    "outputs": {},
    "contacts": {},
    "heartbeats": {},
    "annunciation": None,
    "calibrations": {},
    "commissioned": {},
    "exercise": None,
    "alarms": [],
    "alarm_rate": {
        "told_lately": 0,
        "within_s": 600.0,
        "flood_from": 10,
        "chattering": [],
        "standing_long": [],
    },
    "journal": {"path": "records/bench.journal", "healthy": True, "problem": ""},
}

IDLE: dict[str, Any] = {
    "state": "idle", "wanted_on": False, "off_proven": True, "current_a": 0.0, "voltage_v": 0.0, "voltage_held": None,
    "hydrogen_l_per_s": 0.0, "waits_for_hands": False, "operation": None,
}  # fmt: skip


def running(**supply: Any) -> dict[str, Any]:
    """Return a state of its own in the middle of a load, with some of its supply's values changed."""
    status = copy.deepcopy(RUNNING)
    status["supplies"]["main"].update(supply)
    return status


def with_operation(**changes: Any) -> dict[str, Any]:
    """Return the same with some of the operation's values changed."""
    status = running()
    status["supplies"]["main"]["operation"].update(changes)
    return status


def contact(role: str, *, closed: bool | None, tank: str | None = "acid") -> dict[str, Any]:
    """Return one contact; one that is not known does not answer."""
    reading = "no answer" if closed is None else "good"
    since_s = None if closed is None else 5000.0
    return {
        "role": role, "tank": tank, "closed": closed, "reading": reading, "healthy": closed is True, "since_s": since_s,
    }  # fmt: skip


def without_temperature(reading: str) -> dict[str, Any]:
    """Return a running state whose bath has no good reading, for that reason."""
    status = running()
    status["tanks"]["acid"] |= {"temperature_c": None, "reading": reading}
    return status


def with_switches() -> dict[str, Any]:
    """Return a running state of a line with knobs, a contactor, a fan, contacts and a heartbeat."""
    return running(control="contactor", contactor="breaker", waits_for_hands=True) | {
        "outputs": {
            "breaker": {
                "role": "contactor", "device": "relays", "point": "k1", "on": True, "confirmed": True, "safe_on": False,
            },
            "fan": {"role": "fan", "device": "relays", "point": "k2", "on": True, "confirmed": False, "safe_on": True},
        },
        "contacts": {
            "lid": contact("lid", closed=True),
            "level": contact("level", closed=False),
            "air": contact("air flow", closed=None, tank=None),
            "shut": contact("auxiliary contact", closed=True, tank=None) | {"healthy": None},
        },
        "heartbeats": {"board": {"seconds": 431.0, "reading": "good"}},
        "exercise": "fan",
    }  # fmt: skip


def alarm(
    name: str,
    priority: str = "high",
    *,
    active: bool = True,
    since_wall_s: float = 0.0,
    state: str = "",
    **changes: Any,
) -> dict[str, Any]:
    """Return one alarm whose texts carry its name; one whose cause is gone is latched unless `state` says otherwise."""
    state = state or ("unacknowledged" if active else "latched, unacknowledged")
    return {
        "name": name,
        "state": state,
        "priority": priority,
        "active": active,
        "latched": state.startswith("latched"),
        "under": "",
        "what": f"What happened to {name}.",
        "follows": f"What follows {name}.",
        "first": f"What to do about {name}.",
        "time": f"How long there is for {name}.",
        "since_wall_s": since_wall_s,
        "count": 1,
        "why": "",
        "shelved_for_s": None,
        **changes,
    }


def with_alarms(*alarms: dict[str, Any]) -> dict[str, Any]:
    """Return a running state with these alarms."""
    return running() | {"alarms": list(alarms)}
