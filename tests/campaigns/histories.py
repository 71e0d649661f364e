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
MOST_ACTS = 18
LONGEST_S = 150.0


def history_figures(quick: bool) -> Iterator[Figure]:
    """Play histories until one breaks a rule; in a quick run a few."""
    most, base = 8 if quick else 200, "virtual, as in life"
    told: list[Told] = []
    held = _hold(most, told)
    n, seen = len(told), {name.partition("/")[2] for one in told for name in one.alarms}
    yield Figure("random_histories_held", held, "= true", n, SEED, base, timing=False)
    yield Figure("random_histories_h", sum(one.seconds for one in told) / 3600, "report", n, SEED, base, timing=False)
    yield Figure("random_histories_steps", sum(one.steps for one in told), "report", n, SEED, base, timing=False)
    yield Figure("random_histories_loads", sum(one.loads for one in told), "report", n, SEED, base, timing=False)
    yield Figure("random_histories_faults", sum(one.faults for one in told), "report", n, SEED, base, timing=False)
    yield Figure("random_histories_causes", len(seen & CAUSES.keys()), "report", n, SEED, base, timing=False)


def _hold(most: int, told: list[Told]) -> bool:
    """Whether all of so many histories held; what each came to is added to `told`."""

    @seed(SEED)
    @settings(max_examples=most, deadline=None, database=None, suppress_health_check=list(HealthCheck))
    @given(scripts(MOST_ACTS, LONGEST_S))
    def holds(script: Script) -> None:
        told.append(play(script))
        if len(told) % 20 == 0:
            tell(f"  {len(told)} histories")

    try:
        holds()
    except BrokenHistoryError as broken:
        tell("\n".join([str(broken), *getattr(broken, "__notes__", [])]))
        return False
    return True
