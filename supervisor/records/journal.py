"""The journal: every event, what the core did with it, and snapshots; one writer thread, one connection."""

from __future__ import annotations

import asyncio
import logging
import sqlite3
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from typing import TypeVar

from supervisor.core.actions import Action
from supervisor.core.events import Event
from supervisor.records import rows, schema
from supervisor.records.rows import Gap, LastState, Promise, RunInfo, Snapshot, Step

_log = logging.getLogger(__name__)

Result = TypeVar("Result")

BATCH_S = 0.2
RETRY_S = 1.0
MOST_QUEUED = 4096
"""Steps kept while the disk stalls: minutes of a busy line in about 8 MB."""


class Journal:
    """The open journal of one line. All calls belong to the loop it was opened in.

    Once a run has begun nothing here raises or waits: whatever the disk does, the way to off is not held up (R11).

    Attributes:
        notice: "" or a sentence for people: a damaged journal was moved aside when this one was opened.
    """

    def __init__(self, executor: ThreadPoolExecutor, opened: schema.Opened) -> None:
        self.notice = opened.notice
        self._executor = executor
        self._connection = opened.connection
        self._run = 0
        self._number = 0
        self._queue: deque[rows.Row] = deque()
        self._gap: Gap | None = None
        self._problem = ""
        self._snapshot_wanted = True
        self._news = asyncio.Event()
        self._urgent = asyncio.Event()
        self._closing = False
        self._flusher = asyncio.create_task(self._flush_forever(), name="journal")

    @classmethod
    async def open(cls, path: Path) -> Journal:
        """Open or make the journal at `path`. Raises schema.JournalError with a sentence for people."""
        executor = ThreadPoolExecutor(max_workers=1, thread_name_prefix="journal")
        try:
            opened = await asyncio.get_running_loop().run_in_executor(executor, schema.open_file, path)
        except BaseException:
            executor.shutdown(wait=False)
            raise
        return cls(executor, opened)

    @property
    def healthy(self) -> bool:
        """Whether every step so far is kept or will be: False while the disk refuses or the queue is full."""
        return not self._problem and self._gap is None

    @property
    def problem(self) -> str:
        """What is wrong, one sentence; "" while healthy."""
        if self._gap is not None and not self._problem:
            return "The disk does not keep up with the record; steps are being lost from it."
        return self._problem

    @property
    def snapshot_wanted(self) -> bool:
        """Whether replay could not go on from here without a snapshot: before the first one and after a gap."""
        return self._snapshot_wanted

    async def begin_run(
        self,
        *,
        boot_id: str,
        line_name: str,
        line_text: str,
        line_hash: str,
        profiles: Mapping[str, str],
        core_version: str,
        speed: float,
        wall_s: float,
    ) -> int:
        """Open the record of a new run and return its number, 1 upwards.

        `profiles` maps names to texts; `speed` is process seconds per wire second; `wall_s` UTC seconds since 1970.
        Raises schema.JournalError if the disk refuses.
        """
        info = RunInfo(0, boot_id, line_name, line_text, line_hash, dict(profiles), core_version, speed, wall_s)
        try:
            self._run = await self._in_thread(lambda: rows.insert_run(self._connection, info))
        except sqlite3.Error as problem:
            raise schema.JournalError(
                f"The journal cannot be written: {problem}. Check the disk; nothing is energised without a record."
            ) from problem
        return self._run

    async def last_state(self) -> LastState | None:
        """Return where the newest earlier run with anything in it stood; None where there was none.

        Raises schema.JournalError if that part of the file is damaged.
        """
        try:
            return await self._in_thread(lambda: rows.read_last(self._connection, self._run))
        except sqlite3.Error as problem:
            raise schema.JournalError(
                f"What ran before cannot be read from the journal: {problem}. Check that the supply is off; then move"
                " the journal away so that a new one is begun."
            ) from problem

    def note_step(self, event: Event, actions: Sequence[Action]) -> None:
        """Keep one step of the core: the event and what it answered. Never waits; raises nothing."""
        self._number += 1
        if self._queue_is_full():
            self._lose("the disk did not keep up")
            return
        self._put(Step(self._number, event, tuple(actions)))

    def note_snapshot(self, state: str) -> None:
        """Keep the state after the newest step, as JSON text. Never waits; a lost one is wanted again."""
        if self._queue_is_full():
            return
        self._snapshot_wanted = False
        self._put(Snapshot(self._number, state))

    def make_durable(self, intent: str, callback: Callable[[str], object]) -> None:
        """Call `callback(intent)` in the loop once all steps noted so far are safe on the disk; never if one is lost.

        That silence is the answer: the core energises nothing without it.
        """
        if self._queue_is_full() or self._gap is not None:
            return
        self._put(Promise(intent, callback))
        self._urgent.set()

    async def close(self, deadline_s: float) -> bool:
        """Write what is queued and close, within `deadline_s` of loop time. Returns whether all was written."""
        self._closing = True
        self._news.set()
        self._urgent.set()
        done, _ = await asyncio.wait({self._flusher}, timeout=deadline_s)
        if not done:
            _log.error("The journal was not closed within %s s; its last steps may be missing.", deadline_s)
            self._executor.submit(self._connection.close)  # should the disk ever let go
            self._executor.shutdown(wait=False)
            return False
        with suppress(sqlite3.Error):
            await self._in_thread(self._connection.close)
        self._executor.shutdown(wait=False)
        return self.healthy

    def _queue_is_full(self) -> bool:
        return len(self._queue) >= MOST_QUEUED

    def _lose(self, why: str) -> None:
        first = self._gap.first if self._gap else self._number
        self._gap = Gap(first, self._number, why)
        self._snapshot_wanted = True

    def _put(self, row: rows.Row) -> None:
        self._close_gap()
        self._queue.append(row)
        self._news.set()

    def _close_gap(self) -> None:
        if self._gap is not None:
            self._queue.append(self._gap)
            self._gap = None

    async def _flush_forever(self) -> None:
        while not (self._closing and not self._queue and self._gap is None):
            await self._news.wait()
            with suppress(TimeoutError):
                async with asyncio.timeout(RETRY_S if self._problem else BATCH_S):
                    await self._urgent.wait()
            self._urgent.clear()
            if not await self._flush() and self._closing:
                return

    async def _flush(self) -> bool:
        """Write all that is queued in one transaction; what fails stays queued. Returns whether it was written."""
        if self._gap is not None and not self._queue_is_full():
            self._close_gap()
        batch = tuple(self._queue)
        try:
            all_kept = await self._in_thread(lambda: rows.write(self._connection, self._run, batch))
        except Exception as problem:  # noqa: BLE001 - a writer that ended here would leave a record that only seems well
            self._problem = f"The journal cannot be written: {problem}. Check the disk; nothing new is energised."
            _log.error("%s", self._problem)
            return False
        self._problem = ""
        for _ in batch:
            self._queue.popleft()
        if all_kept:
            self._keep_promises(batch)
        else:
            self._snapshot_wanted = True
        if not self._queue and self._gap is None and not self._closing:
            self._news.clear()
        return True

    def _keep_promises(self, batch: Sequence[rows.Row]) -> None:
        loop = asyncio.get_running_loop()
        for row in batch:
            if isinstance(row, Promise):
                loop.call_soon(row.callback, row.intent)

    async def _in_thread(self, job: Callable[[], Result]) -> Result:
        return await asyncio.get_running_loop().run_in_executor(self._executor, job)
