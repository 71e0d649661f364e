"""`ampminder run`: supervise a line until told to end. Off first, off last."""

from __future__ import annotations

import asyncio
import json
import logging
import signal
import sys
from datetime import UTC, datetime
from pathlib import Path

from supervisor.cli.off import tell_fates
from supervisor.config.fitted import not_fitted
from supervisor.config.load import load_line
from supervisor.core.actions import Note
from supervisor.edges.control import ControlError
from supervisor.records.schema import JournalError
from supervisor.runtime import RuntimeFolderError
from supervisor.service.app import Service
from supervisor.service.clock import Clock
from supervisor.service.safe import Fate

_log = logging.getLogger(__name__)


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


def set_up_log() -> None:
    """Log to standard error: plain lines for a person at a terminal, JSON lines otherwise."""
    handler = logging.StreamHandler(sys.stderr)
    plain = logging.Formatter("%(asctime)s %(message)s", "%H:%M:%S")
    handler.setFormatter(plain if sys.stderr.isatty() else _JsonLines())
    logging.basicConfig(level=logging.INFO, handlers=[handler])


def run(path: Path, *, watch_only: bool, speed: float = 1.0) -> int:
    """Run the supervisor; 0 when it ended with every output proven off, 1 otherwise. Raises LineMistakes."""
    set_up_log()
    line = load_line(path)
    for missing in not_fitted(line):
        _log.warning("%s", missing)
    try:
        fates = asyncio.run(_supervise(Service(line, Clock(speed=speed), watch_only=watch_only, tell=_tell)))
    except (RuntimeFolderError, JournalError, ControlError) as problem:
        print(problem, file=sys.stderr)
        return 1
    tell_fates(fates)
    return 0 if all(fate.proven for fate in fates) else 1


async def _supervise(service: Service) -> list[Fate]:
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        loop.add_signal_handler(number, stop.set)
    return await service.run(stop)


def _tell(note: Note) -> None:
    urgent = note.kind == "alarm" and note.data.get("priority") == "high"
    _log.log(logging.WARNING if urgent else logging.INFO, "%s", note.text)
