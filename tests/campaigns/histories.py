"""Long random histories of the acid and seal line on the virtual clock: people, faults, ends and starts of the service.

Every step of the core is held to the rules of the exploration, and every moment to what truly happens. What breaks one
is shrunk by hypothesis to the least that still does, and told.
"""

from __future__ import annotations

from collections.abc import Iterator

from hypothesis import HealthCheck, given, seed, settings

from supervisor.core.interlocks import CAUSES
from tests.campaigns.figures import Figure, tell
from tests.harness.drawn import scripts
from tests.harness.histories import BrokenHistoryError, Script, Told, play

SEED = 9
AT_ONCE = 10
"""Histories from one seed: of more, hypothesis makes most by repeating parts of earlier ones, which shows less."""

MOST_ACTS = 18
LONGEST_S = 150.0


def history_figures(quick: bool) -> Iterator[Figure]:
    """Play histories until one breaks a rule; in a quick run a few."""
    told: list[Told] = []
    held = all(_hold(SEED + nth, told) for nth in range(1 if quick else 20))
    n, base = len(told), "virtual, as in life"
    yield Figure("random_histories_held", held, "= true", n, SEED, base, timing=False)
    seen = {name.partition("/")[2] for one in told for name in one.alarms}
    counts = {
        "h": sum(one.seconds for one in told) / 3600,
        "steps": sum(one.steps for one in told),
        "loads": sum(one.loads for one in told),
        "faults": sum(one.faults for one in told),
        "causes": len(seen & CAUSES.keys()),
    }
    for name, value in counts.items():
        yield Figure(f"random_histories_{name}", value, "report", n, SEED, base, timing=False)


def _hold(from_seed: int, told: list[Told]) -> bool:
    """Whether all histories from a seed held; what each came to is added to `told`."""

    @seed(from_seed)
    @settings(
        max_examples=AT_ONCE,
        deadline=None,
        database=None,
        report_multiple_bugs=False,
        suppress_health_check=list(HealthCheck),
    )
    @given(scripts(MOST_ACTS, LONGEST_S))
    def holds(script: Script) -> None:
        told.append(play(script))

    try:
        holds()
    except BrokenHistoryError as broken:
        tell("\n".join([str(broken), *getattr(broken, "__notes__", [])]))
        return False
    tell(f"  {len(told)} histories")
    return True
