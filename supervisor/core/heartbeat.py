"""A device's sign of life, seconds since it began: none for too long, or fewer than before, and nothing of it holds.

Source: common practice for a controller that can reset by itself, no source.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from supervisor.core import switches
from supervisor.core.permissives import heard

if TYPE_CHECKING:
    from supervisor.core.work import Work


def beat(work: Work, device: str, before_s: float | None, now_s: float) -> None:
    """Take a good heartbeat, s since the device began; `before_s` is the good one before it, None if there is none."""
    anew = before_s is not None and now_s < before_s
    restarted = work.state.restarted - {device} | ({device} if anew else frozenset())
    if restarted != work.state.restarted:
        work.state = replace(work.state, restarted=restarted)
    if anew:
        for name, output in work.setup.outputs.items():
            if output.device == device and name in work.state.outputs:
                switches.doubt(work, name)


def due_s(work: Work, device: str) -> float:
    """Process time by which the next good heartbeat must have come."""
    setup = work.setup.heartbeats[device]
    latest = work.state.channels.get(setup.channel)
    heard_s = work.state.heard_from_s
    seen_s = heard_s if latest is None or latest.good_s is None else max(latest.good_s, heard_s)
    return seen_s + setup.silent_after_s


def judge(work: Work, device: str) -> None:
    """Let the alarm of a device follow its heartbeat."""
    setup, now_s = work.setup.heartbeats[device], work.at.process_s
    lost = now_s >= due_s(work, device) or device in work.state.restarted
    if lost or heard(work.state, setup.channel, now_s, setup.silent_after_s):
        work.alarm(device, "heartbeat-lost", lost)
