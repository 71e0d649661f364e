"""A sign of life for systemd: a supervisor that stands still is ended by it, and its unit sends off then.

One whose core decides nothing any more gives none either, though its loop goes round: it is as good as dead.
"""

from __future__ import annotations

import asyncio
import os
import socket
from collections.abc import Callable
from contextlib import suppress

TIMES_IN_TIME = 3
"""Signs within the time that systemd allows; one or two may come late."""


async def show_life(goes_on: Callable[[], bool]) -> None:
    """Give systemd a sign as often as the unit asks for, until cancelled; return at once where nobody asks.

    `goes_on` tells whether the core decides in time; while it does not there is no sign.

    Source: sd_notify(3) and sd_watchdog_enabled(3): NOTIFY_SOCKET, WATCHDOG_USEC, WATCHDOG_PID, "WATCHDOG=1" (from
    memory).
    """
    address, allowed_us = os.environ.get("NOTIFY_SOCKET", ""), os.environ.get("WATCHDOG_USEC", "")
    asked = os.environ.get("WATCHDOG_PID") in {None, str(os.getpid())}
    if not address or not allowed_us.isdecimal() or not asked:
        return
    if address.startswith("@"):
        address = f"\0{address[1:]}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as notify:
        notify.setblocking(False)  # a sign that finds no room is left out: nothing waits for it
        while True:
            with suppress(OSError):
                if goes_on():
                    notify.sendto(b"WATCHDOG=1", address)
            await asyncio.sleep(int(allowed_us) / 1e6 / TIMES_IN_TIME)
