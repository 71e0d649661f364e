"""Work on a wire that a cancel must not cut short."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from typing import TypeVar

_T = TypeVar("_T")


async def to_its_end(work: Coroutine[object, object, _T]) -> _T:
    """Let work that must not be cut short end, then raise a cancel that came meanwhile.

    The count of cancels is compared with the one before, so that a task which was cancelled earlier
    can still send its last commands.
    """
    me = asyncio.current_task()
    assert me is not None
    before = me.cancelling()
    task = asyncio.create_task(work)
    cancelled = False
    while not task.done():
        try:
            await asyncio.wait({task})
        except asyncio.CancelledError:
            cancelled = True
    if cancelled or me.cancelling() > before:
        _ = task.cancelled() or task.exception()  # looked at, so that it is not reported as lost
        raise asyncio.CancelledError
    return task.result()
