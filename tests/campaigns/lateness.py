"""The service with process time scaled, and beside it a look at how late its loop is, every 10 ms.

python -m tests.campaigns.lateness LINE-FILE SPEED OUT
"""

from __future__ import annotations

import asyncio
import json
import sys
from collections.abc import Callable
from pathlib import Path

from supervisor.cli.run import run
from supervisor.service import app

EVERY_S = 0.01

late_ms: list[float] = []


async def look(goes_on: Callable[[], bool]) -> None:
    """Note by how much each sleep took longer than asked for, until cancelled or until the core decides no more."""
    now_s = asyncio.get_running_loop().time
    while goes_on():
        due_s = now_s() + EVERY_S
        await asyncio.sleep(EVERY_S)
        late_ms.append(1000 * (now_s() - due_s))


if __name__ == "__main__":
    # The one task of the service that does nothing unless systemd asks for it.
    app.show_life = look  # type: ignore[attr-defined]
    code = run(Path(sys.argv[1]), watch_only=False, speed=float(sys.argv[2]))
    Path(sys.argv[3]).write_text(json.dumps(late_ms), encoding="utf-8")
    sys.exit(code)
