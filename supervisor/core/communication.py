"""A device without a heartbeat of its own: it is there while it answers, be it that a sensor of it is broken.

One that comes back may have been without power, with its outputs at rest: what it was told before is history.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from supervisor.core import switches

if TYPE_CHECKING:
    from supervisor.core.work import Work


def due_s(work: Work, device: str) -> float:
    """Process time by which the next answer about anything of a device must have come."""
    return max(_answered_s(work, device), work.state.heard_from_s) + work.setup.watches[device].silent_after_s


def judge(work: Work, device: str) -> None:
    """Let the alarm of a device follow whether it answers; in its first moments nobody knows, and it stays as it is."""
    before, now_s = work.state.alarms.get(f"{device}/communication-lost"), work.at.process_s
    lost = now_s >= due_s(work, device)
    if not lost and now_s >= _answered_s(work, device) + work.setup.watches[device].silent_after_s:
        return
    work.alarm(device, "communication-lost", lost)
    if before is not None and before.active and not lost:
        for name, output in work.setup.outputs.items():
            if output.device == device and name in work.state.outputs:
                switches.doubt(work, name)


def _answered_s(work: Work, device: str) -> float:
    """Process time of the newest answer about anything of a device; long ago where there was none."""
    latest = (work.state.channels.get(channel) for channel in work.setup.watches[device].channels)
    return max((one.heard_s for one in latest if one is not None and one.heard_s is not None), default=-float("inf"))
