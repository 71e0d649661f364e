"""The core in every state: how many there are, whether all were visited, and whether planted faults were found.

In a quick run the large parts are left out; their nearest states are visited by the fast suite.
"""

from __future__ import annotations

import time
from collections.abc import Iterator

from tests.campaigns.figures import Figure, tell
from tests.exploration.explorer import explore, unknown
from tests.exploration.parts import large_parts, small_parts
from tests.exploration.planted import PLANTED
from tests.exploration.tables import ALARM_MOVES, MOVES, explore_alarms, moves_walked

EVERY = 24
"""Of every so many kinds of state a second one is looked at as well."""


def exploration_figures(quick: bool) -> Iterator[Figure]:
    """Explore every part to closure and plant every fault. Raises BrokenRuleError where a rule does not hold."""
    began_s = time.process_time()
    states, transitions, closed = 0, 0, True
    with moves_walked() as walked:
        for part in small_parts() if quick else (*small_parts(), *large_parts()):
            found = explore(part)
            whole = found.closed and found.happened == set(part.happenings) and not unknown(part, found, EVERY)
            closed = closed and whole
            states, transitions = states + len(found.states), transitions + found.transitions
            tell(f"  {part.name}: {len(found.states)} states, {found.transitions} transitions, {found.seconds:.1f} s")
        rows = len(walked & MOVES) + len(explore_alarms() & ALARM_MOVES)
    took_s = time.process_time() - began_s
    caught = sum(fault.found() == {fault.rule} for fault in PLANTED)
    base = "no clock"
    of = len(MOVES) + len(ALARM_MOVES)
    yield Figure("states", states, "report", 1, None, base, timing=False)
    yield Figure("transitions", transitions, "report", 1, None, base, timing=False)
    yield Figure("table_rows_hit_percent", 100 * rows / of, ">= 100", of, None, base, timing=False)
    yield Figure("explored_to_closure", closed, "= true", states, None, base, timing=False)
    yield Figure("planted_mutants_caught", caught, f">= {len(PLANTED)}", len(PLANTED), None, base, timing=False)
    yield Figure("exploration_s", took_s, "<= 60", transitions, None, "processor time, one process")
