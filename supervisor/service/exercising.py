"""An output tried out over the control socket: safe again as soon as its client has gone, and what was seen is kept."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from typing import Any, get_args

from supervisor.config.load import LineFile, records_folder
from supervisor.config.wiring import wiring
from supervisor.core.events import Request
from supervisor.core.state import Exercise
from supervisor.edges.control import Peer, Refusal
from supervisor.edges.requests import new_body, read_request
from supervisor.records.exercised import Exercised, Seen, exercised_path, keep_exercised
from supervisor.service.clock import Clock
from supervisor.service.loop import StepLoop

LOOKS_EVERY_S = 0.1
"""Wire time between two states told to whoever exercises an output."""

FIELDS = ("output", "seen")


class Trial(AsyncIterator[dict[str, Any]]):
    """The states of a line from the switching of one output until its device has confirmed its safe state.

    `aclose` releases it, also where not one state was ever taken: the client may be gone before the first.
    """

    def __init__(self, request: Request, steps: StepLoop, clock: Clock, tell: Callable[[], dict[str, Any]]) -> None:
        """`request` was accepted just now; `tell` returns the state of the line."""
        self._request = request
        self._steps = steps
        self._clock = clock
        self._tell = tell
        self._own: Exercise | None = steps.line.state.exercise
        self._began = self._told_back = False

    async def __anext__(self) -> dict[str, Any]:
        """Return the next state, the last one as soon as the output is back."""
        if self._told_back:
            raise StopAsyncIteration
        if self._began:
            await asyncio.sleep(LOOKS_EVERY_S)
        self._began = True
        self._told_back = self._is_back()
        return self._tell()

    async def aclose(self) -> None:
        """Release the output; harmless where it is released already."""
        if self._goes_on():
            body = new_body(self._clock.instant().wire_s, output=self._request.output)
            self._steps.post_unawaited(read_request("release", body, at=self._clock.instant(), who=self._request.who))

    def _goes_on(self) -> bool:
        """Whether this very trial stands; another's of the same output is not ours to end."""
        return self._own is not None and self._steps.line.state.exercise == self._own

    def _is_back(self) -> bool:
        if self._goes_on():
            return False
        output = self._steps.line.state.outputs[self._request.output]
        safe_on = self._steps.line.setup.outputs[self._request.output].safe_on
        return output.on is not safe_on or output.confirmed_s is not None


class Kept:
    """Keeps what was seen of a line's outputs; the file is written in a thread, one trial after another."""

    def __init__(self, line: LineFile, clock: Clock) -> None:
        self._path = exercised_path(records_folder(line), line.name)
        self._wired = wiring(line)
        self._clock = clock
        self._one_by_one = asyncio.Lock()

    async def keep(self, body: dict[str, Any], peer: Peer, steps: StepLoop) -> dict[str, Any]:
        """Keep one trial of an output that was exercised in this run. Raises Refusal with every reason."""
        reasons = self._against(body, steps)
        if reasons:
            raise Refusal(*reasons)
        output, seen = body["output"], body["seen"]
        trial = Exercised(seen, self._wired[output], peer.user, self._clock.instant().wall_s)
        async with self._one_by_one:
            try:
                await asyncio.to_thread(keep_exercised, self._path, output, trial)
            except OSError as problem:
                why = f"kept: what was seen cannot be written to {self._path} ({problem.strerror or problem})."
                raise Refusal(f"{why} Mend that, and exercise {output} again.") from problem
        return {"output": output, "seen": seen}

    def _against(self, body: dict[str, Any], steps: StepLoop) -> list[str]:
        reasons = [f"{key[:100]}: it takes {', '.join(FIELDS)}." for key in body if key not in FIELDS]
        if body.get("seen") not in get_args(Seen):
            reasons.append(f"seen: this must be one of {', '.join(get_args(Seen))}.")
        output = body.get("output")
        if not isinstance(output, str) or output not in self._wired:
            reasons.append(f"output: this must be one of {', '.join(self._wired) or 'none: this line has none'}.")
        elif not steps.line.state.outputs[output].tried:
            reasons.append(
                f"exercised: {output} was not in this run, so nothing can have been seen. Exercise it first."
            )
        elif steps.line.state.exercise is not None and steps.line.state.exercise.output == output:
            reasons.append(f"exercised: {output} is being exercised yet. Tell what was seen when it is over.")
        return reasons
