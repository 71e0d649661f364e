"""The parts of the exploration: which line, what can happen to it, and what its states are told apart by.

`product` is the operation with its supply's output, its contactor, the supply's link and three causes that stand for
all: one that warns, one that holds by an event, one that stops by a limit. The others each look closer at two or three
of these than the product of all could: late, lost and wrong words on every wire, three links that are good, bad or
silent, every state of an alarm, ends and starts of the supervisor, boots, trials of an output.
"""

from __future__ import annotations

from dataclasses import replace

from supervisor.core.events import Quality, RequestKind
from supervisor.core.setup import ContactSetup, LineSetup
from tests.core.plain import fitted_setup
from tests.exploration import happenings as h
from tests.exploration import sight, timers
from tests.exploration.explorer import Part
from tests.exploration.happenings import Happening

WARNS, HOLDS, STOPS = "main-acid/bath-high", "main/output-dropped", "main-acid/bath-high-high"
REPRESENTATIVES = (WARNS, HOLDS, STOPS)
GUARD, LID, AIR = "guard/guard-open", "lid/lid-shut", "air/agitation-lost"
"""One that holds, one that stops and one that warns, but only while current flows."""

CURRENT, STATE, BOARD, BATH = "main-current", "main-output-state", "board-heartbeat", "main-acid-temperature"
SILENT_S = {CURRENT: 3.0, STATE: 3.0, BOARD: 2.0, BATH: 3.0}
NEVER_S = 1e9

Happenings = dict[str, Happening]

REQUESTS: Happenings = {what: h.asks(what) for what in ("start", "hold", "restart", "stop", "abort", "reset", "off")}
STALE: Happenings = {
    "stored copy": h.asks_by_a_stored_copy,
    "expired": h.asks_too_late,
    "from the future": h.asks_from_the_future,
    "repeated": h.asks_a_second_time,
    "together with a stop": h.asks_together_with_a_stop,
}
RECORDED: Happenings = {"recorded": h.the_record_is_kept}
NOT_RECORDED: Happenings = {
    "recorded late": h.the_record_is_kept_too_late,
    "not recorded": h.the_record_does_not_come,
    "recorded for nobody": h.a_record_nobody_waits_for,
}
OBEYS: Happenings = {
    "off done": h.off_is(ok=True),
    "on done": h.on_is(ok=True),
    "set": h.set_points_are(ok=True),
    "set point due": timers.a_set_point_is_due,
}
AT_ONCE: Happenings = {"on at once": h.switched_on_at_once, "off proven": h.off_is_proven_at_once}
FAILS: Happenings = {
    "off failed": h.off_is(ok=False),
    "on failed": h.on_is(ok=False),
    "set, stale": h.set_points_are(ok=True, stale=True),
    "not set": h.set_points_are(ok=False),
    "off due again": timers.off_is_due_again,
}
LATE: Happenings = {"proof late": timers.the_proof_is_late}
CONTACTOR: Happenings = {
    "contactor obeys": h.the_contactor_answers(),
    "contactor slow": timers.the_contactor_is_too_slow,
}
CONTACTOR_FAILS: Happenings = {
    "contactor fails": h.the_contactor_answers(ok=False),
    "contactor, other way": h.the_contactor_answers(other=True),
    "contactor, stale": h.the_contactor_answers(stale=True),
    "contactor told again": timers.the_contactor_is_told_again,
    "contactor silent": timers.the_contactor_stays_silent,
}
REFRESHED: Happenings = {"contactor told for good measure": timers.the_contactor_is_told_for_good_measure}
CONTACT: Happenings = {
    "shut": h.reads("shut", 1.0),
    "open": h.reads("shut", 0.0),
    "contact bad": h.reads("shut", 1.0, Quality.LATE),
    "stuck": h.shut_half_a_second_after_it_opened,
}
FLOWS: Happenings = {"low": h.reads(CURRENT, h.LOW_A), "high": h.reads(CURRENT, h.HIGH_A)}
FLOWS_OTHERWISE: Happenings = {
    "current bad": h.reads(CURRENT, h.LOW_A, Quality.MALFORMED),
    "too much": h.reads(CURRENT, h.MUCH_A),
    "early low": h.low_asked_for_before_off_was_confirmed,
    "low for long": h.low_for_long,
    "gap": h.high_after_a_gap,
    "too much voltage": h.reads("main-voltage", h.MUCH_V),
}
STOOD_STILL: Happenings = {"stood still": h.stood_still(2.5), "stood still for a moment": h.stood_still(0.5)}
TARGET: Happenings = {"target read": h.high_reaches_the_target, "target foreseen": timers.the_target_is_foreseen}
BOUNDS: Happenings = {
    "longest time": timers.the_longest_time_is_over,
    "largest charge": timers.the_largest_charge_is_reached,
}
DROPPED: Happenings = {"output says off": h.reads(STATE, 0.0)}
COMES_ON: Happenings = {"output says on": h.reads(STATE, 1.0)}
BATH_GOOD: Happenings = {"bath good": h.reads(BATH, h.GOOD_C)}
BATH_HOT: Happenings = {
    "bath warm": h.reads(BATH, h.WARM_C),
    "bath warm for long": h.warm_for_long,
    "bath hot": h.reads(BATH, h.HOT_C),
}
OF_AN_ALARM: tuple[RequestKind, ...] = (
    "alarm reset", "alarm acknowledge", "alarm shelve", "alarm unshelve", "alarm out of service", "alarm in service",
)  # fmt: skip
ALARM_TIMES: Happenings = {
    "shelving over": timers.shelving_is_over,
    "acknowledged long ago": timers.acknowledged_long_ago,
}
BATH_BAD: Happenings = {"bath bad": h.reads(BATH, h.GOOD_C, Quality.NO_ANSWER)}
SILENT: Happenings = {"current silent": timers.falls_silent(CURRENT, SILENT_S[CURRENT])}
LINKS: Happenings = {
    **SILENT,
    **BATH_BAD,
    "current bad": FLOWS_OTHERWISE["current bad"],
    "bath silent": timers.falls_silent(BATH, SILENT_S[BATH]),
    "board silent": timers.falls_silent(BOARD, SILENT_S[BOARD]),
    "beat": h.beats(),
    "beat anew": h.beats(anew=True),
    "beat bad": h.beats(quality=Quality.LATE),
}
ENDS: Happenings = {
    "end": h.the_end_is_told,
    "same boot": h.starts_again(),
    "watching": h.starts_again(watch_only=True),
}
BOOTS: Happenings = {
    "same boot": h.starts_again(),
    "other boot": h.starts_again(same_boot=False),
    "armed": h.time_out_is(ok=True),
    "not armed": h.time_out_is(ok=False),
}
TRIAL: Happenings = {
    "try": h.tries_the_contactor,
    "release": h.leaves_the_contactor,
    "trial over": h.the_trial_is_over,
}


def fitted(
    *,
    contactor: bool = True,
    auxiliary: bool = True,
    links: bool = False,
    contacts: dict[str, ContactSetup] | None = None,
) -> LineSetup:
    """A remote supply, where wanted behind a contactor on a board; without links nothing of it can fall silent."""
    setup = fitted_setup(auxiliary=auxiliary)
    own = {name: replace(setup.channels["shut"], name=name, age_limit_s=NEVER_S) for name in contacts or {}}
    setup = replace(setup, contacts=contacts or {}, channels={**setup.channels, **own})
    supply = replace(setup.supplies["main"], contactor="contactor" if contactor else None)
    outputs = {"contactor": replace(setup.outputs["contactor"], device="board")} if contactor else {}
    if links:
        return replace(setup, outputs=outputs, supplies={"main": supply})
    bath = replace(setup.channels[BATH], age_limit_s=NEVER_S)
    return replace(
        setup, outputs=outputs, supplies={"main": replace(supply, silent_after_s=NEVER_S)}, heartbeats={},
        channels={name: of for name, of in setup.channels.items() if name != BOARD} | {BATH: bath},
    )  # fmt: skip


def resets(*names: str) -> Happenings:
    """A person resets these one by one, and all others at once."""
    one_by_one = {f"reset {name}": h.asks_of("alarm reset", name) for name in names}
    return one_by_one | {"reset the rest": h.resets_the_rest(names)}


RUN: Happenings = {**REQUESTS, **RECORDED, **OBEYS, **FLOWS, **BATH_GOOD}
WITH_OUTPUT = (sight.operation, sight.soft_start, sight.output)
READY = ("bath good", "low")


def product() -> Part:
    """Operation x output x contactor x link x three causes, without the delays of alarms."""
    setup = fitted(auxiliary=False)
    supply = replace(setup.supplies["main"], silent_after_s=SILENT_S[CURRENT])
    happenings = RUN | CONTACTOR | SILENT | BATH_HOT | DROPPED | resets(HOLDS, STOPS)
    happenings |= {"target read": TARGET["target read"]}
    causes = (sight.causes(*REPRESENTATIVES), sight.blocked(*REPRESENTATIVES))
    looks = (*WITH_OUTPUT, sight.contactor, sight.reading(CURRENT, SILENT_S[CURRENT]), *causes)
    tanks = {name: replace(of, band=replace(of.band, delay_s=0.0)) for name, of in setup.tanks.items()}
    setup = replace(undelayed(setup, "bath-high"), supplies={"main": supply}, tanks=tanks)
    return Part("product", setup, happenings, looks, READY)


def undelayed(setup: LineSetup, *causes: str) -> LineSetup:
    """These causes count at once, and are gone at once."""
    interlocks = {name: replace(setup.interlocks[name], on_delay_s=0.0, off_delay_s=0.0) for name in causes}
    return replace(setup, interlocks={**setup.interlocks, **interlocks})


def switching() -> Part:
    """Operation x output x contactor with its contact: every fate of every command, every end."""
    happenings = RUN | STALE | NOT_RECORDED | FAILS | LATE | CONTACTOR | CONTACTOR_FAILS | CONTACT | REFRESHED
    happenings |= FLOWS_OTHERWISE | TARGET | BOUNDS | STOOD_STILL | resets() | {"same boot": ENDS["same boot"]}
    looks = (*WITH_OUTPUT, sight.target, sight.lateness, sight.contactor, sight.rest())
    return Part("switching", fitted(), happenings, looks, READY)


def links() -> Part:
    """Operation x proof x three channels that are good, bad or silent, and a board that begins anew."""
    setup = at_full_at_once(fitted(contactor=False, links=True))
    looked_at = (sight.reading(channel, SILENT_S[channel]) for channel in (CURRENT, BATH, BOARD))
    looks = (sight.operation, sight.soft_start, sight.proof, *looked_at, sight.heartbeat, sight.rest())
    happenings = REQUESTS | RECORDED | AT_ONCE | FLOWS | BATH_GOOD | LINKS | resets()
    return Part("links", setup, happenings, looks, (*READY, "beat"))


def at_full_at_once(setup: LineSetup) -> LineSetup:
    """A soft start of one step."""
    return replace(setup, anodize=replace(setup.anodize, ramp_step_s=h.RAMP_S))


def alarm(name: str, own: Happenings, looks: tuple[sight.Look, ...], setup: LineSetup) -> Part:
    """Operation x every state of one alarm: acknowledged, told again, hidden in every way."""
    happenings = REQUESTS | RECORDED | AT_ONCE | BATH_GOOD | {"low": FLOWS["low"]} | own
    happenings |= {what: h.asks_of(what, name) for what in OF_AN_ALARM} | ALARM_TIMES
    looks = (sight.operation, sight.soft_start, sight.proof, *looks, sight.alarm(name), sight.rest(name))
    return Part(name, at_full_at_once(setup), happenings, looks, (*READY, "off proven"))


def alarms() -> tuple[Part, ...]:
    """The three that stand for all, one with its delays, and three that count only while current flows."""
    setup = fitted(contactor=False)
    bath = (sight.bath,)
    delays: Happenings = {"delays over": timers.delays_are_over, "reset the rest": h.resets_the_rest((WARNS,))}
    return (
        alarm(WARNS, BATH_HOT | BATH_BAD | delays, bath, setup),
        alarm(HOLDS, DROPPED, (), setup),
        alarm(STOPS, BATH_HOT | BATH_BAD, bath, setup),
        behind(GUARD, ContactSetup("guard", "guard", "guard")),
        behind(LID, ContactSetup("lid", "lid", "lid", "main-acid"), delays),
        behind(AIR, ContactSetup("air", "air pressure", "air", "main-acid", "agitation"), delays),
    )


def behind(name: str, contact: ContactSetup, delays: Happenings | None = None) -> Part:
    """The same of a contact's alarm, its contact closed, open or not read."""
    seen: Happenings = {
        "closed": h.reads(contact.channel, 1.0),
        "open": h.reads(contact.channel, 0.0),
        "not read": h.reads(contact.channel, 1.0, Quality.LATE),
    }
    setup = fitted(contactor=False, contacts={contact.name: contact})
    return alarm(name, seen | (delays or {}), (sight.contact(contact.name),), setup)


def ends() -> Part:
    """Operation x output x contactor x the supervisor's end, its start, and a start only to watch."""
    happenings = RUN | LATE | CONTACTOR | ENDS | resets() | {"target read": TARGET["target read"]}
    looks = (
        sight.service,
        *WITH_OUTPUT,
        sight.lateness,
        sight.contactor,
        sight.reading(BATH, NEVER_S),
        sight.blocked(),
    )
    return Part("ends", fitted(auxiliary=False), happenings, looks, READY)


def boots() -> Part:
    """Operation x output x the device's own time-out x boots, by which a charge may lose its bound."""
    setup = fitted(contactor=False)
    supply = replace(setup.supplies["main"], device_time_out_s=5.0)
    happenings = RUN | BOOTS | BOUNDS | resets() | {"target read": TARGET["target read"], "gap": FLOWS_OTHERWISE["gap"]}
    looks = (*WITH_OUTPUT, sight.across_boots, sight.reading(BATH, NEVER_S), sight.rest())
    return Part("boots", replace(setup, supplies={"main": supply}), happenings, looks, READY)


def trials() -> Part:
    """A supervisor that only watches: output x contactor x a trial of it."""
    happenings = {
        "off": REQUESTS["off"],
        "off done": OBEYS["off done"],
        "contactor obeys": CONTACTOR["contactor obeys"],
        **FLOWS,
        **LATE,
    }
    happenings |= CONTACTOR_FAILS | TRIAL | ENDS | DROPPED | COMES_ON | resets()
    happenings["current bad"] = FLOWS_OTHERWISE["current bad"]
    watched = (sight.reading(STATE, SILENT_S[STATE]), sight.reading(CURRENT, NEVER_S))
    looks = (sight.service, sight.output, sight.lateness, sight.contactor, sight.trial, *watched, sight.rest())
    return Part("trials", fitted(auxiliary=False), happenings, looks, ("watching", "low", "output says off"))


def small_parts() -> tuple[Part, ...]:
    """Those that take seconds together; what the others have besides is their size."""
    return (boots(), trials(), *alarms(), switching())


def large_parts() -> tuple[Part, ...]:
    """The others, the largest last."""
    return (ends(), links(), product())
