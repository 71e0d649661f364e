"""`anodize`, `tank` and `status`: what a person asks of a running supervisor, and its answer in plain words."""

from __future__ import annotations

import asyncio
import json
import sys
from pathlib import Path
from typing import Any, TypeAlias

from supervisor.cli.words import status_lines
from supervisor.config.load import load_line
from supervisor.edges.client import ask, only_socket
from supervisor.edges.control import ControlError, socket_path
from supervisor.edges.requests import new_body
from supervisor.service.clock import boot_clock_s
from supervisor.service.holder import holders_of_file

DONE = {
    "out": "Noted: the load is out of the acid. It is not restarted any more; reset ends it.",
    "alarm acknowledge": "{alarm}: acknowledged.",
    "alarm reset": "{alarm}: reset.",
    "alarm shelve": "{alarm}: not told for {for}. What its cause does stays in force.",
    "alarm unshelve": "{alarm}: told again.",
    "alarm out of service": "{alarm}: not told until it is in service again. What its cause does stays in force.",
    "alarm in service": "{alarm}: told again.",
    "alarm silence": "The horn is silent until a newer alarm. Nothing is acknowledged by that.",
    "alarm test": "Every lamp and the horn are on for a moment: look and listen.",
    "heat": "{tank}: it is heated from now on.",
    "rest": "{tank}: its heater rests until somebody asks for heat.",
    "gauge forget": "{load}: what its gauge showed is forgotten. Growth is learned without it from the next start on.",
    "filled": "{tank}: filled anew. Its level must be seen to move before it is heated.",
}
"""What is said when a request is done, where there is more to say than that."""


Asked: TypeAlias = str | bool | list[str]
"""What a field of a request may hold, as people write it."""


def socket_of(line: Path | None) -> Path:
    """Return the socket of the line whose file is named, or the only socket there is. Raises ControlError.

    Whoever was started with that file is asked, whatever was made of the file since.
    """
    if line is None:
        return only_socket()
    running = holders_of_file(line)
    return socket_path(running[0].line if running else load_line(line).name)


def request(line: Path | None, kind: str, asked: dict[str, Asked], *, as_json: bool) -> int:
    """Make a request; 0 when done, 1 when refused or nobody answers."""
    body = new_body(boot_clock_s(), **asked)
    answer = answer_of(line, kind, body)
    if as_json:
        print(json.dumps(answer))
    elif answer["ok"]:
        print(_done(kind, asked, answer))
    else:
        print(f"{kind}: refused.", *(f"  - {reason}" for reason in answer["reasons"]), sep="\n", file=sys.stderr)
    return 0 if answer["ok"] else 1


def status(line: Path | None, *, as_json: bool) -> int:
    """Show how the line stands, once."""
    answer = answer_of(line, "status", {})
    if as_json:
        print(json.dumps(answer))
    elif answer["ok"]:
        print(*status_lines(answer), sep="\n")
    else:
        print(*answer["reasons"], sep="\n", file=sys.stderr)
    return 0 if answer["ok"] else 1


def answer_of(line: Path | None, kind: str, body: dict[str, Any]) -> dict[str, Any]:
    """Return the supervisor's answer; refused as well where nobody answers."""
    try:
        return asyncio.run(ask(socket_of(line), kind, body))
    except ControlError as problem:
        return {"version": 1, "ok": False, "reasons": [str(problem)]}


def _done(kind: str, asked: dict[str, Asked], answer: dict[str, Any]) -> str:
    if kind in {"start", "restart"}:
        done = f"{answer['supply']}: load {answer['load']} is under way as operation {answer['operation']}."
        done = f"{done} {answer['notice']}" if answer.get("notice") else done
        if answer.get("least_loss_share"):
            done += f" A contact lost under {float(answer['least_loss_share']):.0%} of its area cannot be seen at once."
        return f"{done} What to turn its knobs to: ampminder status" if asked.get("confirmed") else done
    return answer.get("notice") or DONE.get(kind, f"{kind}: done.").format(**asked)
