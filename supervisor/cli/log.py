"""The log on standard error, written by a thread of its own: a terminal that stands still holds nothing up (R11)."""

from __future__ import annotations

import json
import logging
import os
import queue
import sys
import threading
from contextlib import suppress
from datetime import UTC, datetime

MOST_WAITING = 1000
"""Lines kept while nobody takes them; more are dropped here and stand in the journal alone."""


class _JsonLines(logging.Formatter):
    """One JSON object a line, for whatever collects logs."""

    def format(self, record: logging.LogRecord) -> str:
        line = {
            "version": 1,
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "from": record.name,
            "text": record.getMessage(),
        }
        if record.exc_info:
            line["trace"] = self.formatException(record.exc_info)
        return json.dumps(line)


class Aside(logging.Handler):
    """Takes records without ever waiting; a thread writes them. One that hangs there does not keep the program."""

    def __init__(self, descriptor: int) -> None:
        """`descriptor` is written to as it is: a stream has a lock that a hanging write would keep at the end."""
        super().__init__()
        self._descriptor = descriptor
        self._waiting: queue.Queue[logging.LogRecord | None] = queue.Queue(MOST_WAITING)
        self._thread = threading.Thread(target=self._write, name="log", daemon=True)
        self._thread.start()

    def emit(self, record: logging.LogRecord) -> None:
        """Put a record where the thread finds it; drop it if too many wait."""
        with suppress(queue.Full):
            self._waiting.put_nowait(record)

    def finish(self, within_s: float) -> None:
        """Let what waits be written, for so long at most; nothing is written afterwards."""
        with suppress(queue.Full):
            self._waiting.put_nowait(None)
            self._thread.join(within_s)

    def _write(self) -> None:
        while (record := self._waiting.get()) is not None:
            # Nobody at the other end, or a record that cannot be formatted: there is nobody left to tell.
            with suppress(OSError, TypeError, ValueError):
                os.write(self._descriptor, f"{self.format(record)}\n".encode(errors="replace"))


def set_up_log() -> Aside:
    """Log to standard error: plain lines for a person at a terminal, JSON lines otherwise."""
    handler = Aside(sys.stderr.fileno())
    plain = logging.Formatter("%(asctime)s %(message)s", "%H:%M:%S")
    handler.setFormatter(plain if sys.stderr.isatty() else _JsonLines())
    logging.basicConfig(level=logging.INFO, handlers=[handler], force=True)
    return handler
