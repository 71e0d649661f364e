"""`ampminder run`: supervise a line until told to end. Off first, off last."""

from __future__ import annotations

import asyncio
import logging
import signal
from pathlib import Path

from supervisor.cli.log import set_up_log
from supervisor.cli.off import tell_fates
from supervisor.config.broker import mqtt_doubts
from supervisor.config.fitted import not_fitted
from supervisor.config.load import load_line
from supervisor.config.metering_told import metering_told
from supervisor.core.actions import Note
from supervisor.edges.control import ControlError
from supervisor.records.schema import JournalError
from supervisor.runtime import RuntimeFolderError
from supervisor.service.app import Service
from supervisor.service.clock import Clock
from supervisor.service.holder import AlreadyHeldError
from supervisor.service.safe import Fate

_log = logging.getLogger(__name__)

AGAIN_S = 1.0
"""Told to end again within this time counts as once: a terminal that closes tells it in several ways."""

LOG_S = 1.0
"""What the log may take at the end to be written."""

HELD = 3
"""Exit code of one that was refused because another supervisor has the line: nothing of it was touched."""


def run(path: Path, *, watch_only: bool, speed: float = 1.0) -> int:
    """Run the supervisor; 0 when it ended with every output proven off, HELD when refused, 1 otherwise.

    Raises LineMistakes.
    """
    line = load_line(path)
    log = set_up_log()
    for missing in (*not_fitted(line), *metering_told(line), *mqtt_doubts(line.document.mqtt, line.folder)):
        _log.warning("%s", missing)
    service = Service(line, Clock(speed=speed), watch_only=watch_only, tell=_tell)
    try:
        code = _to_its_end(service)
        if watch_only and code == 0:
            print(
                "Watched only: off went to each supply once, at the start. Whether current flows now, its meter tells."
            )
    finally:
        log.finish(LOG_S)
        tell_fates(service.fates)  # last, so that nothing hides what to do by hand
    return code if all(fate.proven for fate in service.fates if fate.vital) else 1


def _to_its_end(service: Service) -> int:
    """Supervise; 0 if it ended because it was told to."""
    try:
        asyncio.run(_supervise(service))
    except AlreadyHeldError as problem:
        _log.critical("%s", problem)
        return HELD
    except (RuntimeFolderError, JournalError, ControlError) as problem:
        _log.critical("%s", problem)
        return 1
    except asyncio.CancelledError:
        _log.critical("Told to end a second time, the supervisor left what it waited for.")
        return 1
    except Exception:  # noqa: BLE001 - whatever it was, how the supplies were left is told after it
        _log.critical("The supervisor failed and has ended.", exc_info=True)
        return 1
    return 0


async def _supervise(service: Service) -> list[Fate]:
    """Supervise until told to end; told again, leave whatever is waited for (a disk, say): off is sent all the same."""
    stop, loop, me = asyncio.Event(), asyncio.get_running_loop(), asyncio.current_task()
    assert me is not None
    first_s: list[float] = []

    def told() -> None:
        first_s.append(loop.time())
        if loop.time() - first_s[0] >= AGAIN_S:
            me.cancel()
        stop.set()

    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        loop.add_signal_handler(number, told)
    return await service.run(stop)


def _tell(note: Note) -> None:
    urgent = note.kind == "alarm" and note.data.get("priority") == "high"
    _log.log(logging.WARNING if urgent else logging.INFO, "%s", note.text)
