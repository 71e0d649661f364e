"""Where the run before stood, from its journal: snapshot, then the events after it through the same core."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from supervisor.config.load import LineFile, load_recorded
from supervisor.config.setup import line_setup
from supervisor.core.line import Line
from supervisor.core.state import LineState
from supervisor.records.codec import decode_event, decode_state
from supervisor.records.rows import LastState


@dataclass(frozen=True)
class Restored:
    """The state the run before left behind, and the process time of its newest event, s."""

    state: LineState
    journal_s: float
    boot_id: str
    speed: float


def make_line(line_text: str, profiles: Mapping[str, str], speed: float, state: str | None) -> Line:
    """Build the core as it was for a recorded line file: the texts stand in the journal, no other file is needed."""
    setup = line_setup(load_recorded(line_text, profiles), speed)
    return Line(setup, None if state is None else decode_state(LineState, state))


def restore(last: LastState | None) -> Restored | None:
    """Bring a core to where the run before ended; None where there was none.

    Actions of those events are not done again: they were done then.
    """
    if last is None or last.newest_event is None:
        return None
    run = last.run
    line = make_line(run.line_text, run.profiles, run.speed, last.snapshot)
    for text in last.events:
        line.step(decode_event(text))
    newest = decode_event(last.newest_event)
    return Restored(line.state, newest.at.process_s, run.boot_id, run.speed)


def profile_texts(line: LineFile) -> dict[str, str]:
    """Return the text of every profile file the line names, by the name it is given there."""
    names = {device.profile for device in line.document.devices.values() if device.profile is not None}
    return {name: (line.folder / name).read_text(encoding="utf-8-sig") for name in sorted(names)}
