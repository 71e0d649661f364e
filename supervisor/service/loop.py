"""The step loop: one event after another through the line, its actions to where they belong, its wake on time.

Where the process stood still (stopped, starved, a computer that slept) the core is told so ahead of whatever waited
meanwhile: what waits is old, and an off that is due must not wait behind it.
"""

from __future__ import annotations

import asyncio
import math
from collections import deque
from collections.abc import Callable, Mapping

from supervisor.core.actions import Action, Answer, ArmTimeOut, Note, Record, SetPoints, Switch, SwitchOff, SwitchOn
from supervisor.core.events import Delayed, Event, Recorded, Woken
from supervisor.core.line import Line
from supervisor.records.codec import encode_state
from supervisor.records.journal import Journal
from supervisor.service.clock import Clock
from supervisor.service.dispatch import Outbox

SNAPSHOT_EVERY_STEPS = 2000
"""Steps replayed at most after a restart; about a tenth of a second of work."""

BEATS_EVERY_S = 0.1
"""Wire time between two signs that the loop goes round, so that standing still is noticed where nothing else comes."""

LATE_S = 0.5
"""Wire time beyond the next sign from which on the core is told that the loop stood still."""

OVERDUE_S = 1.0
"""Wire time for which a step may be owed before nothing is sent any more but ways to a safe state."""


class StepLoop:
    """Owns the line. All of it runs in one loop, and no step ever waits for anything (R11)."""

    def __init__(
        self,
        line: Line,
        clock: Clock,
        journal: Journal,
        outboxes: Mapping[str, Outbox],
        switches: Mapping[str, Outbox],
        tell: Callable[[Note], None],
    ) -> None:
        """`outboxes` and `switches` map a supply and an output to their link's outbox; `tell` is given every note."""
        self.line = line
        self._clock = clock
        self._journal = journal
        self._outboxes = outboxes
        self._switches = switches
        self._tell = tell
        self._events: deque[Event] = deque()
        self._stepping = False
        self._timer: asyncio.TimerHandle | None = None
        self._answers: dict[str, asyncio.Future[Answer]] = {}
        self._since_snapshot = 0
        self._planned_wire_s: float | None = None
        self._beat: asyncio.TimerHandle | None = None
        self._beat_due_s = math.inf
        self._failure: asyncio.Future[Exception] = asyncio.get_running_loop().create_future()

    async def fail(self) -> None:
        """Wait until a step that nobody awaits has failed, and raise what it raised: the service must end in off."""
        raise await self._failure

    def post(self, event: Event) -> None:
        """Step the line with an event. One that comes up during a step follows it at once.

        An event stays first in the row until its step is done or has failed: so `overdue_s` sees one that never ends.
        """
        self._put_delay_before(event)
        self._events.append(event)
        if self._stepping:
            return
        self._stepping = True
        try:
            while self._events:
                try:
                    self._step(self._events[0])
                finally:
                    self._events.popleft()
        finally:
            self._stepping = False

    def post_unawaited(self, event: Event) -> None:
        """Step the line with an event whose poster is told nothing; where that fails `fail` raises it."""
        try:
            self.post(event)
        except Exception as problem:  # noqa: BLE001 - handed on whole to `fail`
            if not self._failure.done():
                self._failure.set_result(problem)

    def beat(self) -> None:
        """Begin to watch whether the loop goes round; from now on a `Delayed` goes ahead of what waited too long."""
        self._beat_due_s = self._clock.now() + BEATS_EVERY_S
        self._beat = asyncio.get_running_loop().call_later(BEATS_EVERY_S, self._beats)

    def overdue_s(self) -> float:
        """Return for how long a step has been owed, s of wire time: to an event that waits or to a wake; 0: to none."""
        owed_s = [] if self._planned_wire_s is None else [self._planned_wire_s]
        owed_s += [self._events[0].at.wire_s] if self._events else []
        return max(0.0, self._clock.now() - min(owed_s)) if owed_s else 0.0

    def goes_on(self) -> bool:
        """Whether the core decides in time. While it does not, nothing may keep a device from helping itself."""
        return self.overdue_s() <= OVERDUE_S

    def planned_s(self) -> float | None:
        """Return the wire time left until the line next wants to be woken, s."""
        return None if self._planned_wire_s is None else self._planned_wire_s - self._clock.now()

    def answer_to(self, request: str) -> asyncio.Future[Answer] | None:
        """Return what will hold the answer to a request about to be posted; None where one of its id waits already.

        The core answers by id: of two at once, one would get the other's answer.
        """
        if request in self._answers:
            return None
        return self._answers.setdefault(request, asyncio.get_running_loop().create_future())

    def forget(self, request: str) -> None:
        """Wait no more for an answer; harmless where it has come."""
        self._answers.pop(request, None)

    def close(self) -> None:
        """Wake and watch no more."""
        for timer in (self._timer, self._beat):
            if timer is not None:
                timer.cancel()

    def _beats(self) -> None:
        late_s = self._clock.now() - self._beat_due_s
        self.beat()
        if late_s >= LATE_S:
            self.post_unawaited(Delayed(self._clock.instant(), late_s))

    def _put_delay_before(self, event: Event) -> None:
        """What came in while the loop stood still may be read before the next sign is due."""
        now_s = self._clock.now()
        late_s = now_s - self._beat_due_s
        if late_s >= LATE_S:
            self._beat_due_s = now_s + BEATS_EVERY_S
            self._events.append(Delayed(event.at, late_s))

    def _step(self, event: Event) -> None:
        step = self.line.step(event)
        # Commands first: nothing below may hold up an off, not even by failing.
        for action in step.actions:
            if isinstance(action, SwitchOff | SwitchOn | SetPoints | ArmTimeOut):
                self._outboxes[action.supply].put(action)
            elif isinstance(action, Switch):
                self._switches[action.output].put(action)
        self._wake_in(self._clock.until_s(step.wake))
        self._journal.note_step(event, step.actions)
        self._snapshot()
        for action in step.actions:
            self._settle(action)

    def _settle(self, action: Action) -> None:
        if isinstance(action, Record):
            self._journal.make_durable(action.intent, self._recorded)
        elif isinstance(action, Answer):
            waiting = self._answers.pop(action.request, None)
            if waiting is not None and not waiting.done():
                waiting.set_result(action)
        elif isinstance(action, Note):
            self._tell(action)

    def _recorded(self, intent: str) -> None:
        self.post_unawaited(Recorded(self._clock.instant(), intent))

    def _snapshot(self) -> None:
        self._since_snapshot += 1
        if self._journal.snapshot_wanted or self._since_snapshot >= SNAPSHOT_EVERY_STEPS:
            self._since_snapshot = 0
            self._journal.note_snapshot(encode_state(self.line.state))

    def _wake_in(self, delay_s: float | None) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        self._planned_wire_s = None
        if delay_s is not None:
            self._planned_wire_s = self._clock.now() + delay_s
            self._timer = asyncio.get_running_loop().call_later(delay_s, self._woken)

    def _woken(self) -> None:
        self._timer = None
        self.post_unawaited(Woken(self._clock.instant()))
