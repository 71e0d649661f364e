"""The other end of local control: what the command line uses to ask a running supervisor."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncGenerator, AsyncIterator, Sequence
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any
from urllib.parse import unquote

from supervisor.edges.control import VERSION, Answer, ControlError, listens
from supervisor.runtime import runtime_folder

_LONGEST_ANSWER = 1024 * 1024
"""Bytes of one answer; a status with every alarm's history, each with a reason of 200 signs, stays below it."""


class NoSupervisorError(ControlError):
    """Nobody listens there."""


class RefusedError(ControlError):
    """What was asked for is refused, for the reasons given."""

    def __init__(self, reasons: Sequence[str]) -> None:
        super().__init__(" ".join(reasons))
        self.reasons = tuple(reasons)


def only_socket() -> Path:
    """Return the only socket a supervisor listens at. Raises NoSupervisorError, or ControlError naming all of them."""
    found = [path for path in sorted(runtime_folder().glob("*.sock")) if path.is_socket() and listens(path)]
    if not found:
        where = f"No supervisor is running for this user (none listens in {runtime_folder()})."
        raise NoSupervisorError(f"{where} Start one with: ampminder run FILE")
    if len(found) > 1:
        lines = ", ".join(unquote(path.stem) for path in found)
        raise ControlError(f"Several supervisors are running: {lines}. Say which with --line FILE.")
    return found[0]


async def ask(path: Path, kind: str, body: dict[str, Any], time_out_s: float = 5.0) -> Answer:
    """Send one request and return its answer, refused ones too (`ok` false with `reasons`).

    `time_out_s` is wire time for all of it. Raises ControlError with a sentence for people.
    """
    try:
        async with asyncio.timeout(time_out_s), _connected(path) as (reader, writer):
            await _send(writer, kind, body)
            answer = await _receive(reader)
    except TimeoutError as problem:
        raise ControlError(
            f"The supervisor did not answer within {time_out_s:g} s."
            " To be sure that the output is off: ampminder off FILE"
        ) from problem
    if answer is None:
        raise ControlError("The supervisor ended the connection without an answer. See its log for why.")
    return answer


async def stream(path: Path, body: dict[str, Any] | None = None, kind: str = "watch") -> AsyncGenerator[Answer, None]:
    """Yield the newest state each time there is one, until there is none to come. Raises ControlError.

    Of kind `exercise` an output is away from its safe state as long as the states come and are taken: leaving them
    releases it.
    """
    async with _connected(path) as (reader, writer):
        await _send(writer, kind, body or {})
        while (state := await _receive(reader)) is not None:
            if not state["ok"]:
                raise RefusedError(state.get("reasons", ()))
            yield state


@asynccontextmanager
async def _connected(path: Path) -> AsyncIterator[tuple[asyncio.StreamReader, asyncio.StreamWriter]]:
    try:
        reader, writer = await asyncio.open_unix_connection(path, limit=_LONGEST_ANSWER)
    except (FileNotFoundError, ConnectionRefusedError) as problem:
        raise NoSupervisorError("No supervisor runs for this line. Start it with: ampminder run FILE") from problem
    except PermissionError as problem:
        raise ControlError(
            f"You may not talk to this supervisor: {path} is for its owner and group only."
            " Run this as that user, or ask to be put into that group."
        ) from problem
    except OSError as problem:
        raise ControlError(f"The socket {path} cannot be used: {problem.strerror or problem}.") from problem
    try:
        yield reader, writer
    finally:
        writer.transport.abort()  # nothing of ours is left to send, and an end of theirs is no news


async def _send(writer: asyncio.StreamWriter, kind: str, body: dict[str, Any]) -> None:
    request = {"version": VERSION, "kind": kind, "body": body}
    writer.write(json.dumps(request, allow_nan=False).encode() + b"\n")
    try:
        await writer.drain()
    except ConnectionError:
        return  # the answer may still lie there; if not, reading finds the end


async def _receive(reader: asyncio.StreamReader) -> Answer | None:
    """Return the next answer; None at the end of the connection, whether in between or in the middle of a line."""
    try:
        line = await reader.readuntil(b"\n")
    except (asyncio.IncompleteReadError, ConnectionError):
        return None
    except asyncio.LimitOverrunError as problem:
        raise ControlError("The supervisor's answer is too long. Use the same release for both sides.") from problem
    try:
        answer = json.loads(line)
    except ValueError as problem:
        raise ControlError("What listens there does not answer as a supervisor does.") from problem
    if not isinstance(answer, dict) or answer.get("version") != VERSION or not isinstance(answer.get("ok"), bool):
        raise ControlError("The supervisor speaks another version. Use the same release for both sides.")
    return answer
