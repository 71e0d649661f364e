"""Look on while a virtual line runs: every step of its core is held to the rules, every moment to what is true."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from unittest.mock import patch

from supervisor.core.events import Event, Scanned, Woken
from supervisor.core.line import Line, Step
from supervisor.core.setup import LineSetup
from supervisor.core.state import LineState
from supervisor.service import app
from tests.exploration.rules import BrokenRuleError, hold, hold_on_another_date
from tests.exploration.seen import Seen
from tests.harness.truths import Truths
from tests.harness.virtual import VirtualLine

DATES_EVERY = 7
"""Of readings and wakes one in so many is looked at on another date as well (R10); of all other events each one."""


class WatchedLine(Line):
    """A line each of whose steps is looked at."""

    def __init__(self, setup: LineSetup, state: LineState | None, watch: Watch) -> None:
        super().__init__(setup, state)
        self._watch = watch

    def step(self, event: Event) -> Step:
        """Take one event in, and show what came of it."""
        before = self.state
        step = super().step(event)
        self._watch.sees(Seen(self.setup, before, event, step.actions, self.state, step.wake))
        return step


class Watch:
    """What was found wrong so far, and how much was looked at.

    Attributes:
        found: what was broken, in sentences; the first is the one that matters.
        steps: of the core that were looked at. alarms: names of all that appeared. truths: what truly happened.
    """

    def __init__(self, line: VirtualLine) -> None:
        self.found: list[str] = []
        self.steps = 0
        self.alarms: set[str] = set()
        self.truths = Truths(line, self.found)
        self._line = line
        self._last: LineState | None = None

    @contextmanager
    def looking(self) -> Iterator[None]:
        """Have every line that a service makes meanwhile looked at, from its first event on."""

        def watched(setup: LineSetup, state: LineState | None = None) -> Line:
            if self._last is not None and state != self._last:
                self.found.append("A supervisor begins with another state than the one before it left.")
            return WatchedLine(setup, state, self)

        with patch.object(app, "Line", watched):
            yield

    def sees(self, seen: Seen) -> None:
        """Hold one step to the rules, and the truth of its moment to the state after it."""
        self.steps += 1
        self._last = seen.after
        self.alarms |= {name for name, alarm in seen.after.alarms.items() if alarm.active}
        try:
            hold(seen)
            if self.steps % DATES_EVERY == 0 or not isinstance(seen.event, Scanned | Woken):
                hold_on_another_date(seen)
        except BrokenRuleError as broken:
            self.found.append(str(broken))
        self.truths.look(seen.wire_s, seen.after)

    def looks(self) -> None:
        """Hold the truth of this moment to the state as it stands, also where no supervisor runs."""
        self.truths.look(self._line.clock.now(), self._last if self._line.runs else None)
