"""`ampminder exercise`: one output away from its safe state for a moment while a person looks on, and what was seen."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import sys
import termios
from collections.abc import Callable, Iterator, Sequence
from contextlib import aclosing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from supervisor.cli.ask import socket_of
from supervisor.cli.words import switch_word
from supervisor.edges.client import RefusedError, ask, stream
from supervisor.edges.control import ControlError
from supervisor.edges.requests import new_body
from supervisor.records.exercised import Seen
from supervisor.service.clock import boot_clock_s

LONGEST = "1.5 s"
BACK_WITHIN_S = 3.0
LOOKS_EVERY_S = 0.1

KEYS: dict[str, Seen] = {"1": "as named", "2": "something else", "3": "nothing"}
"""What a person in wet gloves types, and what it stands for."""


@dataclass
class Told:
    """What the supervisor told of a trial: whether the device confirmed that the output went away, and came back."""

    away: bool = False
    back: bool = False

    def hear(self, output: dict[str, Any]) -> None:
        """Take how the output stands now."""
        at_rest = output["on"] is output["safe_on"]
        self.away = self.away or (not at_rest and output["confirmed"])
        self.back = at_rest and output["confirmed"]


def exercise(line: Path | None, output: str, *, confirmed: bool, seen: Seen | None, as_json: bool) -> int:
    """Exercise an output, or keep what was `seen` of it just now; 0 when it did what its name says, else 1.

    Raises ControlError where nobody answers.
    """
    path = socket_of(line)
    body = {"output": output} | ({"confirmed": True} if confirmed else {})
    try:
        if seen is not None:
            return _keep(path, output, seen, as_json=as_json)
        if as_json:
            return _for_a_program(path, body)
        return _for_a_person(path, body)
    except RefusedError as refusal:
        return _not_done("exercise: refused. Nothing was switched.", refusal.reasons, as_json=as_json)
    except KeyboardInterrupt:
        return _not_done(
            "Let go by Ctrl-C, and nothing is kept.", ("let go: it was ended by Ctrl-C.",), as_json=as_json
        )


def _not_done(what: str, reasons: Sequence[str], *, as_json: bool) -> int:
    if as_json:
        print(json.dumps({"version": 1, "ok": False, "reasons": list(reasons)}))
    else:
        print(what, *(f"  - {reason}" for reason in reasons), sep="\n", file=sys.stderr)
    return 1


def _for_a_program(path: Path, body: dict[str, Any]) -> int:
    """Exercise it for as long as may be; what was seen is told by another call."""
    told = asyncio.run(_switch(path, body, asyncio.Event()))
    print(json.dumps({"version": 1, "ok": told.back, "output": body["output"], "away": told.away, "back": told.back}))
    return 0 if told.back else 1


def _for_a_person(path: Path, body: dict[str, Any]) -> int:
    if not sys.stdin.isatty():
        print(
            "exercise: this needs a terminal, so that somebody looks on and can let go.\n"
            "A program uses --json, and then once more with --seen.",
            file=sys.stderr,
        )
        return 1
    output = asyncio.run(_output(path, body["output"]))
    _ask_at_the_terminal(_before(body["output"], output))
    if _typed("") is None:
        print("\nNothing was switched.")
        return 1
    told = asyncio.run(_watched(path, body))
    _ask_at_the_terminal(_after(body["output"], output, told))
    seen = _seen()
    if seen is None:
        print(f"\nNothing is kept: {body['output']} still counts as not exercised.")
        return 1
    return max(_keep(path, body["output"], seen, as_json=False), 0 if told.back else 1)


def _before(name: str, output: dict[str, Any]) -> Iterator[str]:
    """Tell what will move, before it does."""
    role = output["role"]
    safe, away = (switch_word(role, on=on) for on in (output["safe_on"], not output["safe_on"]))
    yield f"{name}: {role}, at point {output['point']} of {output['device']}. Its safe state is {safe}."
    if role == "contactor":
        yield "It closes the circuit of a supply: keep hands out of the tank."
    yield f"Look at it now. Enter turns it {away}, for {LONGEST} at most."
    yield "Enter once more, Ctrl-C, or closing this window lets go sooner."


def _after(name: str, output: dict[str, Any], told: Told) -> Iterator[str]:
    role, device = output["role"], output["device"]
    safe, away = (switch_word(role, on=on) for on in (output["safe_on"], not output["safe_on"]))
    if not told.away:
        yield f"{device} did not confirm that {name} was {away}."
    if told.back:
        yield f"{name} is {safe} again, confirmed by {device}."
    else:
        yield f"{name}: {device} did NOT confirm that it is {safe} again. If it is not, cut its power."
    yield f"What did you see?\n  1  {name} turned {away} and back\n  2  something else moved, or it went the wrong way"
    yield "  3  nothing moved"


def _seen() -> Seen | None:
    """Ask until there is an answer; None where nobody answers any more."""
    while (typed := _typed("1, 2 or 3, then Enter: ")) is not None:
        if typed.strip() in KEYS:
            return KEYS[typed.strip()]
    return None


def _ask_at_the_terminal(lines: Iterator[str]) -> None:
    """Show what is asked. What was typed before that is no answer to it, and does not count."""
    with suppress(termios.error):
        termios.tcflush(sys.stdin.fileno(), termios.TCIFLUSH)
    print(*lines, sep="\n", flush=True)


def _typed(prompt: str) -> str | None:
    """One line from the terminal; None at its end or Ctrl-C."""
    return asyncio.run(_next_line(prompt))


async def _next_line(prompt: str) -> str | None:
    line: asyncio.Future[str | None] = asyncio.get_running_loop().create_future()
    with _hand(line.set_result):  # before the prompt: a Ctrl-C just as a plain read begins would be lost
        print(prompt, end="", flush=True)
        return await line


def _keep(path: Path, output: str, seen: Seen, *, as_json: bool) -> int:
    answer = asyncio.run(ask(path, "exercised", {"output": output, "seen": seen}))
    if as_json:
        print(json.dumps(answer))
    elif not answer["ok"]:
        return _not_done("Nothing is kept.", answer["reasons"], as_json=False)
    elif seen == "as named":
        print(f"Kept: {output} does what its name says.")
    else:
        print(
            f"Kept: of {output} {seen} was seen. START NO LOAD with it.",
            "First compare its wire with its device and point in the line file; then the point's address and states in",
            "the profile (a wrong way round is off and on changed over). Then run check, and exercise it again.",
            sep="\n",
        )
    return 0 if answer["ok"] and seen == "as named" else 1


async def _watched(path: Path, body: dict[str, Any]) -> Told:
    """Exercise it until a hand at the terminal lets go, or its time is over."""
    let_go = asyncio.Event()
    with _hand(lambda _line: let_go.set()):
        return await _switch(path, body, let_go)


@contextmanager
def _hand(heard: Callable[[str | None], None]) -> Iterator[None]:
    """Call `heard` once: with the next line typed, or with None at Ctrl-C and the end of the terminal."""
    loop, terminal = asyncio.get_running_loop(), sys.stdin.fileno()

    def leave() -> None:
        loop.remove_reader(terminal)
        loop.remove_signal_handler(signal.SIGINT)

    def typed() -> None:
        leave()
        try:
            line = os.read(terminal, 1024)
        except OSError:  # a terminal that is gone
            line = b""
        heard(line.decode(errors="replace") or None)

    def interrupted() -> None:
        leave()
        heard(None)

    loop.add_reader(terminal, typed)
    loop.add_signal_handler(signal.SIGINT, interrupted)
    try:
        yield
    finally:
        leave()


async def _switch(path: Path, body: dict[str, Any], let_go: asyncio.Event) -> Told:
    """Exercise it until it is back by itself or is let go; leaving the connection is what lets it go."""
    told = Told()
    following = asyncio.create_task(_follow(path, body, told))
    letting_go = asyncio.create_task(let_go.wait())
    try:
        await asyncio.wait({following, letting_go}, return_when=asyncio.FIRST_COMPLETED)
    finally:
        following.cancel()
        letting_go.cancel()
        await asyncio.gather(following, letting_go, return_exceptions=True)
    if not following.cancelled():
        following.result()
    with suppress(ControlError):  # a supervisor that has ended was safe first, but nobody here can tell
        await _until_back(path, body["output"], told)
    return told


async def _follow(path: Path, body: dict[str, Any], told: Told) -> None:
    async with aclosing(stream(path, new_body(boot_clock_s(), **body), "exercise")) as states:
        async for state in states:
            told.hear(state["outputs"][body["output"]])


async def _until_back(path: Path, name: str, told: Told) -> None:
    ends_s = boot_clock_s() + BACK_WITHIN_S
    while not told.back and boot_clock_s() < ends_s:
        told.hear(await _output(path, name))
        await asyncio.sleep(0.0 if told.back else LOOKS_EVERY_S)


async def _output(path: Path, name: str) -> dict[str, Any]:
    """How an output stands. Raises RefusedError where there is none of that name."""
    answer = await ask(path, "status", {})
    if not answer["ok"]:
        raise RefusedError(answer["reasons"])
    outputs = answer["outputs"]
    if name not in outputs:
        known = ", ".join(outputs) or "none"
        raise RefusedError([f"output: {name} is none that can be exercised; this line has {known}."])
    found: dict[str, Any] = outputs[name]
    return found
