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
    watch = work.setup.watches[device]
    latest = (work.state.channels.get(channel) for channel in watch.channels)
    seen_s = [one.heard_s for one in latest if one is not None and one.heard_s is not None]
    return max([*seen_s, work.state.heard_from_s]) + watch.silent_after_s


def judge(work: Work, device: str) -> None:
    """Let the alarm of a device follow whether it answers."""
    before = work.state.alarms.get(f"{device}/communication-lost")
    lost = work.at.process_s >= due_s(work, device)
    work.alarm(device, "communication-lost", lost)
    if before is not None and before.active and not lost:
        for name, output in work.setup.outputs.items():
            if output.device == device and name in work.state.outputs:
                switches.doubt(work, name)
