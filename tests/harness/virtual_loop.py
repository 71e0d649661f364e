"""An event loop on a virtual clock: time jumps to the next timer, but only when nothing real is on its way."""

from __future__ import annotations

import asyncio
import selectors
from collections.abc import Callable, Coroutine
from concurrent.futures import Executor
from typing import Any, Protocol, TypeVar

BEGINS_S = 10_000.0
"""Virtual time at which a loop begins, s: a computer that has run for some hours."""

WORK_S = 10.0
"""Real time a thread job may take before a test gives up, s."""

FLIGHT_S = 0.25
"""Real time bytes may take through a pty before they count as lost, s: a kernel worker carries them, in under 1 ms."""

IDLE_S = 1.0
"""Real time in which something may still come although no timer is set, s."""

_T = TypeVar("_T")


class Carrier(Protocol):
    """Something that takes bytes from one end to the other without a sign of it in between."""

    def in_flight(self) -> bool:
        """Tell whether bytes were written that nobody has read yet."""

    def give_up(self) -> None:
        """Count what is on its way as lost."""


class StuckError(RuntimeError):
    """Nothing can ever happen again in this loop, or a thread job never ended."""


class _Selector(selectors.DefaultSelector):
    """Looks at what is ready; when nothing is, the loop says whether to wait for real or to let time jump."""

    loop: VirtualLoop

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        """Return what is ready, after real waiting only while something real is on its way."""
        while True:
            ready = super().select(0)
            if ready or (timeout is not None and timeout <= 0):
                return ready
            wait_s = self.loop.real_wait_s(timeout)
            if wait_s is None:
                assert timeout is not None
                self.loop.jump(timeout)
                return []
            ready = super().select(wait_s)
            if ready:
                return ready
            self.loop.waited_in_vain(timeout)


class VirtualLoop(asyncio.SelectorEventLoop):
    """A loop whose time() is virtual and jumps when no I/O is ready, no thread job pending and no byte in flight.

    Attributes:
        carriers: what may have bytes in flight.
        jumps: how often time jumped.
    """

    def __init__(self) -> None:
        self._now_s = BEGINS_S
        self._jobs = 0
        self.carriers: list[Carrier] = []
        self.jumps = 0
        selector = _Selector()
        selector.loop = self
        super().__init__(selector)

    def time(self) -> float:
        """Return virtual time, s."""
        return self._now_s

    def run_in_executor(  # type: ignore[override]
        self, executor: Executor | None, func: Callable[..., _T], *args: Any
    ) -> asyncio.Future[_T]:
        """Run a job in a thread; time stands still until it is done."""
        self._jobs += 1
        job = super().run_in_executor(executor, func, *args)
        job.add_done_callback(self._job_done)
        return job

    async def shutdown_default_executor(self, _timeout: float | None = None) -> None:
        """Wait for the threads to end; that is work too, during which time stands still."""
        self._jobs += 1
        try:
            await super().shutdown_default_executor()
        finally:
            self._jobs -= 1

    def _job_done(self, _job: asyncio.Future[Any]) -> None:
        self._jobs -= 1

    def jump(self, by_s: float) -> None:
        """Let this much time pass at once, s."""
        self._now_s += by_s
        self.jumps += 1

    def real_wait_s(self, timeout: float | None) -> float | None:
        """Return how long to wait for something real, s; None where nothing real is on its way."""
        if self._jobs:
            return WORK_S
        if any(carrier.in_flight() for carrier in self.carriers):
            return FLIGHT_S
        return IDLE_S if timeout is None else None

    def waited_in_vain(self, timeout: float | None) -> None:
        """Give up what never came. Raises StuckError where nothing can ever happen again."""
        if self._jobs:
            raise StuckError(f"A thread job did not end within {WORK_S:g} s.")
        lost = [carrier for carrier in self.carriers if carrier.in_flight()]
        if not lost and timeout is None:
            raise StuckError("Nothing is left that could happen: everything waits for something else.")
        for carrier in lost:
            carrier.give_up()


def run_virtual(work: Coroutine[Any, Any, _T]) -> _T:
    """Run a coroutine to its end on a virtual clock of its own."""
    with asyncio.Runner(loop_factory=VirtualLoop) as runner:
        return runner.run(work)


def virtual_loop() -> VirtualLoop:
    """Return the running loop, which must be a virtual one."""
    loop = asyncio.get_running_loop()
    assert isinstance(loop, VirtualLoop)
    return loop
