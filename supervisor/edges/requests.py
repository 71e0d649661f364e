"""A request as people write it, with its units, made into the core's event in SI; every mistake told at once."""

from __future__ import annotations

import difflib
from typing import Any, cast, get_args
from uuid import uuid4

from supervisor import units
from supervisor.core.events import Instant, Order, Request, RequestKind
from supervisor.core.setup import Mode
from supervisor.edges.calibration import read_due, read_points
from supervisor.edges.control import Refusal
from supervisor.edges.gauge import read_gauge

EXPIRES_S = 5.0
"""Wire time after which a request that was not done is not done any more."""

KINDS: tuple[RequestKind, ...] = get_args(RequestKind)

_MODES: tuple[Mode, ...] = get_args(Mode)
_QUANTITIES: dict[str, units.Kind] = {
    "area": "area",
    "target": "thickness",
    "density": "current density",
    "voltage": "voltage",
    "ramp": "time",
}
_ALWAYS = ("id", "made_wire_s", "supply")
_OWN: dict[RequestKind, tuple[str, ...]] = {
    "start": (*_QUANTITIES, "mode", "load", "alloy", "confirmed"),
    "restart": ("confirmed",),
    "alarm reset": ("alarm",),
    "alarm acknowledge": ("alarm",),
    "alarm shelve": ("alarm", "for", "why"),
    "alarm unshelve": ("alarm",),
    "alarm out of service": ("alarm", "why"),
    "alarm in service": ("alarm",),
    "heat": ("tank",),
    "rest": ("tank",),
    "filled": ("tank",),
    "exercise": ("output", "confirmed"),
    "release": ("output",),
    "gauge": ("load", "readings", "density"),
    "gauge forget": ("load",),
    "calibrate": ("channel", "points", "reference", "due"),
    "calibrate forget": ("channel",),
    "commission": ("points", "reference", "confirmed"),
}
"""What a request of a kind may say beside what all of them do."""

_LONGEST_NAME = 100
LONGEST_WHY = 200
"""Characters of a reason: a sentence that still fits into a list."""


def new_body(made_wire_s: float, **asked: str | bool | list[str]) -> dict[str, Any]:
    """Return the body of a fresh request: `made_wire_s` is now, s since boot; `asked` its fields as written."""
    return {"id": uuid4().hex, "made_wire_s": made_wire_s, **asked}


def read_request(kind: str, body: dict[str, Any], *, at: Instant, who: str) -> Request:
    """Turn the body of a request into the core's event. `who` is the peer's user. Raises Refusal with every reason."""
    if kind not in KINDS:
        raise Refusal(f"{kind[:_LONGEST_NAME]!r} is no request; there are {', '.join(KINDS)}.")
    what: RequestKind = kind
    reasons: list[str] = []
    own = _OWN.get(what, ())
    _refuse_unknown(body, (*_ALWAYS, *own), reasons)
    made_wire_s = _made(body, reasons)
    due, due_wall_s = read_due(body, at.wall_s, reasons) if what == "calibrate" else ("", 0.0)
    request = Request(
        at=at,
        id=_text(body, "id", reasons, needed=True),
        made_wire_s=made_wire_s,
        expires_wire_s=made_wire_s + EXPIRES_S,
        source="socket",
        who=who,
        what=what,
        supply=_text(body, "supply", reasons),
        alarm=_text(body, "alarm", reasons, needed="alarm" in own),
        order=_order(body, reasons) if what == "start" else None,
        output=_text(body, "output", reasons, needed="output" in own),
        confirmed=_confirmed(body, reasons),
        tank=_text(body, "tank", reasons, needed="tank" in own),
        for_s=_quantity(body, "for", "time", reasons) if "for" in own else None,
        why=_text(body, "why", reasons, longest=LONGEST_WHY),
        load="" if what == "start" else _text(body, "load", reasons, needed="load" in own),
        readings=read_gauge(body, reasons) if what == "gauge" else (),
        channel=_text(body, "channel", reasons, needed="channel" in own),
        points=read_points(body, reasons) if "points" in own else (),
        reference=_text(body, "reference", reasons),
        due=due,
        due_wall_s=due_wall_s,
    )
    if reasons:
        raise Refusal(*reasons)
    return request


def readable_order(body: dict[str, Any]) -> tuple[Order, set[str]]:
    """Return what a start's body asks for as far as it can be read, and the names of what cannot."""
    reasons: list[str] = []
    order = _order(body, reasons)
    return order, {reason.partition(":")[0] for reason in reasons}


def readable_hiding(kind: str, body: dict[str, Any], *, at: Instant, who: str) -> tuple[Request, set[str]]:
    """Return a request to hide an alarm as far as it can be read, and the names of what cannot."""
    reasons: list[str] = []
    request = Request(
        at=at,
        id="",
        made_wire_s=at.wire_s,
        expires_wire_s=at.wire_s + EXPIRES_S,
        source="socket",
        who=who,
        what=cast("RequestKind", kind),
        alarm=_text(body, "alarm", reasons, needed=True),
        for_s=_quantity(body, "for", "time", reasons),
        why=_text(body, "why", reasons, longest=LONGEST_WHY),
    )
    return request, {reason.partition(":")[0] for reason in reasons}


def _refuse_unknown(body: dict[str, Any], allowed: tuple[str, ...], reasons: list[str]) -> None:
    for key in body:
        if key not in allowed:
            near = difflib.get_close_matches(key, allowed, n=1)
            hint = f"did you mean {near[0]}?" if near else f"it takes {', '.join(allowed)}."
            reasons.append(f"{key[:_LONGEST_NAME]}: this request has no such field; {hint}")


def _made(body: dict[str, Any], reasons: list[str]) -> float:
    made_wire_s = body.get("made_wire_s")
    if isinstance(made_wire_s, bool) or not isinstance(made_wire_s, int | float) or not 0 <= made_wire_s < 1e12:
        reasons.append("made_wire_s: a request must say when it was made, in seconds since boot.")
        return 0.0
    return float(made_wire_s)


def _text(
    body: dict[str, Any], key: str, reasons: list[str], *, needed: bool = False, longest: int = _LONGEST_NAME
) -> str:
    text: object = body.get(key, "")
    if not isinstance(text, str) or len(text) > longest or not (text.isprintable() or text == ""):
        reasons.append(f"{key}: this must be a plain text of at most {longest} characters.")
        return ""
    if needed and not text:
        reasons.append(f"{key}: this is missing.")
    return text


def _confirmed(body: dict[str, Any], reasons: list[str]) -> bool:
    given: object = body.get("confirmed", False)
    if not isinstance(given, bool):
        reasons.append("confirmed: this must be true or false.")
        return False
    return given


def _order(body: dict[str, Any], reasons: list[str]) -> Order:
    """Read what a start asks for. Ranges and the line's limits are the core's to judge."""
    given = {key: _quantity(body, key, kind, reasons) for key, kind in _QUANTITIES.items()}
    if "area" not in body:
        reasons.append(f"area: this is missing; write it with its unit, like {units.example('area')!r}.")
    return Order(
        area_m2=given["area"] or 0.0,
        target_um=given["target"],
        density_a_per_m2=given["density"],
        mode=_mode(body, reasons),
        voltage_v=given["voltage"],
        ramp_s=given["ramp"],
        load=_text(body, "load", reasons),
        alloy=_text(body, "alloy", reasons),
    )


def _quantity(body: dict[str, Any], key: str, kind: units.Kind, reasons: list[str]) -> float | None:
    if key not in body:
        return None
    text = body[key]
    if not isinstance(text, str):
        reasons.append(f"{key}: this must be a text with a unit, like {units.example(kind)!r}.")
        return None
    try:
        return units.parse(text, kind)
    except units.UnitMistake as mistake:
        reasons.append(f"{key}: {mistake.problem}; {mistake.right}.")
        return None


def _mode(body: dict[str, Any], reasons: list[str]) -> Mode | None:
    mode = body.get("mode")
    if mode is not None and mode not in _MODES:
        reasons.append(f"mode: this must be {' or '.join(_MODES)}.")
        return None
    return cast("Mode | None", mode)
