"""Histories by chance, as hypothesis draws and shrinks them: everything a person can do and every fault there is."""

from __future__ import annotations

from hypothesis import strategies as st

from simulators.faults import KINDS
from simulators.line import names_of
from simulators.plan import read_plan
from tests.harness.histories import (
    GIVES,
    PACES,
    TAKES,
    Act,
    Anodizes,
    Asks,
    AsksAtOnce,
    AsksOfAlarm,
    Ends,
    Heats,
    Mends,
    Passes,
    Presses,
    Script,
    StandsStill,
    Strikes,
    asks,
)
from tests.harness.lines import BASES

_NAMES = names_of(read_plan(BASES["acid-and-seal"].plan))
_KEYS = {"module": "device", "heater": "switch", "button": "contact"}
_SECONDS = st.sampled_from([1.0, 0.0, 0.2, 0.7, 2.0, 5.0, 15.0, 40.0, 120.0, 600.0])
_LASTS = st.sampled_from([1.0, 0.2, 0.6, 2.5, 5.0, 12.0, 40.0, 200.0])
_AMOUNTS: dict[str, tuple[float, ...]] = {
    "share": (1.0, 0.5, 0.1),
    "rate_c_per_min": (3.0, 0.5),
    "gain_error": (0.05, -0.2),
    "value_c": (25.0, 3.0, 98.0),
    "delay_ms": (300.0, 60.0),
    "over_s": (60.0, 10.0),
    "writes_only": (1.0, 0.0),
}
"""Amounts worth varying; of the others the usual value counts."""

_PLAIN = (*TAKES, "reset", "restart", "filled", "alarm silence", "alarm test")


def _strikes(what: str) -> st.SearchStrategy[Act]:
    kind = KINDS[what]
    key, targets = _KEYS.get(kind.target, kind.target), getattr(_NAMES, kind.target)
    amounts = {name: _AMOUNTS[name] for name in kind.amounts if name in _AMOUNTS}
    return st.builds(
        Strikes,
        st.just(what),
        st.sampled_from(targets).map(lambda target: ((key, target),)),
        _LASTS,
        st.tuples(*(st.tuples(st.just(name), st.sampled_from(values)) for name, values in amounts.items())),
    )


_CAN = [what for what, kind in KINDS.items() if getattr(_NAMES, kind.target)]
_ON_BYTES = st.sampled_from([what for what in _CAN if KINDS[what].on_bytes]).flatmap(_strikes)
_ON_THINGS = st.sampled_from([what for what in _CAN if not KINDS[what].on_bytes]).flatmap(_strikes)

_REQUESTS = st.one_of(
    st.sampled_from(_PLAIN).map(asks),
    st.builds(asks, st.sampled_from(GIVES), st.sampled_from([6.0, -2.0])),
    st.sampled_from(["horn", "fan", "main-contactor"]).map(lambda name: Asks("exercise", (("output", name),))),
    st.builds(AsksAtOnce, st.sampled_from(GIVES + TAKES), st.sampled_from(TAKES)),
)

_WHICH = st.integers(0, 60)
_MENDED = ("why", "it is being mended")


def _mended_in(time: str) -> tuple[tuple[str, str], ...]:
    return (("for", time), _MENDED)


_OF_ALARMS = st.one_of(
    st.builds(AsksOfAlarm, st.sampled_from(["alarm reset", "alarm acknowledge", "alarm unshelve"]), _WHICH),
    st.builds(AsksOfAlarm, st.just("alarm in service"), _WHICH),
    st.builds(
        AsksOfAlarm,
        st.just("alarm shelve"),
        _WHICH,
        st.sampled_from(["30 s", "1 h"]).map(lambda s: (("for", s), _MENDED)),
    ),
    st.builds(AsksOfAlarm, st.just("alarm out of service"), _WHICH, st.just((_MENDED,))),
)

_WEIGHED: tuple[tuple[int, st.SearchStrategy[Act]], ...] = (
    (4, st.builds(Passes, _SECONDS)),
    (
        5,
        st.builds(
            Anodizes,
            st.sampled_from(["1 um", "0.2 um", "15 um"]),
            st.booleans(),
            st.sampled_from([12.0, 2.0, 0.2, 40.0]),
        ),
    ),
    (4, _ON_THINGS),
    (2, _strikes("contact opens")),
    (2, _ON_BYTES),
    (2, _REQUESTS),
    (1, _OF_ALARMS),
    (2, st.builds(Heats, st.sampled_from([40.0, 1.0]))),
    (1, st.just(Mends())),
    (1, st.builds(Presses, st.sampled_from(_NAMES.button), st.sampled_from([0.05, 1.0, 40.0]))),
    (1, st.builds(Ends, st.booleans(), st.sampled_from([0.0, 2.0, 30.0]))),
    (1, st.builds(StandsStill, st.sampled_from([0.6, 2.5, 10.0]))),
)
"""What happens, and how often beside the others."""

ACTS = st.sampled_from([act for weight, act in _WEIGHED for _ in range(weight)]).flatmap(lambda act: act)


def scripts(most_acts: int, longest_s: float) -> st.SearchStrategy[Script]:
    """Histories of so many acts at most, and of so much process time, s; slow ones of eight times as much."""
    return st.builds(
        lambda pace, after_dip, seed, first, acts: Script(
            pace, after_dip, seed, longest_s * (8 if pace == "slow" else 1), (first, *acts)
        ),
        st.sampled_from(sorted(PACES)),
        st.sampled_from(["off", "last state"]),
        st.integers(0, 3),
        st.one_of(st.just(Anodizes("15 um", mends=False, then_s=2.0)), ACTS),
        st.lists(ACTS, min_size=most_acts // 3, max_size=most_acts),
    )
