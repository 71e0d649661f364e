"""R1-R11 of DEVELOPERS.md, held against one step: what was before it, the event, the actions, and what is after it.

Written from the sentences, not from the core: a permissive the core forgets is missed here and not there. Each fault
of a step is told under one rule, so that a planted one can be told by its name: R1 leaves trips to R2 and the evidence
of readings to R9. What no step of the core can show (a broker, a disk, a process that dies) is not looked for here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from tests.exploration.rules import charge, off, on, stale
from tests.exploration.rules.broken import SENTENCES, BrokenRuleError, NoDate
from tests.exploration.seen import Around, Seen

__all__ = ["SENTENCES", "BrokenRuleError", "NoDate", "hold", "hold_on_another_date"]

Found = Iterator[str]

OF_THE_LINE: tuple[tuple[str, Callable[[Seen], Found]], ...] = (
    ("R2", off.no_latch_ends_by_itself),
    ("R2", off.a_cause_against_heat_has_the_heater_off),
    ("R3", off.every_switch_is_safe_at_start_and_end),
    ("R4", stale.what_counts_for_nothing_does_nothing),
    ("R4", stale.a_state_is_confirmed_by_its_own_word_alone),
    ("R9", on.a_bad_reading_is_no_evidence),
)

OF_A_SUPPLY: tuple[tuple[str, Callable[[Seen, Around], Found]], ...] = (
    ("R1", on.on_has_every_reason),
    ("R2", off.a_trip_ends_current_at_once_and_stays),
    ("R3", off.the_safe_state_comes_first_and_last),
    ("R5", charge.the_charge_interval_contains_the_truth),
    ("R6", on.set_points_keep_their_limits),
    ("R7", off.off_is_proven_by_good_low_readings_alone),
    ("R7", off.off_is_sent_until_it_is_proven),
    ("R8", charge.the_target_ends_it_once_and_time_and_charge_too),
    ("R9", on.on_stands_on_good_fresh_readings),
    ("R11", off.off_waits_for_nothing_and_on_for_its_record),
)


def hold(seen: Seen) -> None:
    """Raise BrokenRuleError where a step breaks a rule, with every rule it breaks."""
    found = [(number, why) for number, check in OF_THE_LINE for why in check(seen)]
    for of in seen.supplies():
        found += [(number, why) for number, check in OF_A_SUPPLY for why in check(seen, of)]
    if found:
        raise BrokenRuleError(found, seen)


def hold_on_another_date(seen: Seen) -> None:
    """R10 by a second step on another date; the explorer's dates raise by themselves where anything looks at them."""
    found = [("R10", why) for why in stale.the_wall_clock_moves_nothing(seen)]
    if found:
        raise BrokenRuleError(found, seen)
