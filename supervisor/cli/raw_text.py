"""What a device without a profile says in text: byte by byte to one question, or sentence by sentence unasked."""

from __future__ import annotations

import json
from typing import cast

from drivers import sentences
from drivers.ports import Link, WireError
from drivers.text_link import Line, TextLink
from supervisor.cli.probe_table import VERSION

IN_A_ROW = 8

CONTROLS = {0x09: "TAB", 0x0A: "LF", 0x0D: "CR", 0x20: "space"}


async def question(link: Link, text: str, seen: bytearray, *, as_json: bool) -> tuple[int, str]:
    """Send one question and tell what came, byte by byte; the exit code is 0 where it is one proper answer.

    Args:
        link: of kind `serial text`.
        text: the question, without its line end.
        seen: filled by the link's trace with every byte that came.
        as_json: one object instead of words.
    """
    failure, answer = "", ""
    try:
        answer = (await cast("TextLink", link).ask(text)).text
    except WireError as problem:
        failure = str(problem)
    if as_json:
        told = {"version": VERSION, "sent": text, "answer": answer, "bytes": list(seen), "failure": failure}
        return (1 if failure else 0), json.dumps(told)
    lines = [f"sent: {text} and LF", *_by_bytes(bytes(seen)), failure or f"answer: {answer}"]
    return (1 if failure else 0), "\n".join(lines)


def _by_bytes(data: bytes) -> list[str]:
    """Rows of bytes, each as two hexadecimal digits and what it stands for."""
    rows = [data[start : start + IN_A_ROW] for start in range(0, len(data), IN_A_ROW)]
    return [
        f"{number * IN_A_ROW:4d}  " + "  ".join(f"{byte:02X} {_sign(byte):5}" for byte in row).rstrip()
        for number, row in enumerate(rows)
    ]


def _sign(byte: int) -> str:
    return CONTROLS.get(byte) or (chr(byte) if 0x20 < byte < 0x7F else "?")


async def listen(link: Link, for_s: float, *, as_json: bool) -> tuple[int, str]:
    """Listen for so many seconds, send nothing, and tell every line; the exit code is 0 where a good sentence came.

    Raises LinkDown.
    """
    text_link = cast("TextLink", link)
    await text_link.open()
    began_s = text_link.now()
    lines: list[Line] = []
    while (line := await text_link.next_line(began_s + for_s)) is not None:
        lines.append(line)
    judged = [(line, _fault(line)) for line in lines]
    good = sum(not fault for _, fault in judged)
    if as_json:
        rows = [
            {"after_s": round(line.t_received_s - began_s, 3), "text": _plain(line.data), "fault": fault}
            for line, fault in judged
        ]
        return (0 if good else 1), json.dumps({"version": VERSION, "lines": rows})
    told = [
        f"{line.t_received_s - began_s:8.3f} s  {_plain(line.data)}  {fault or 'good'}" for line, fault in judged
    ] or ["Nothing came; check power, cable and speed, and whether the device speaks by itself at all."]
    return (0 if good else 1), "\n".join([*told, f"{good} of {len(lines)} lines are good sentences; nothing was sent."])


def _fault(line: Line) -> str:
    """What is wrong with a line as a sentence; empty when nothing is."""
    try:
        sentences.decode(line.data)
    except ValueError as problem:
        return "it had begun before" if line.first else str(problem)
    return ""


def _plain(data: bytes) -> str:
    """A line as people can read it, whatever is in it."""
    return data.rstrip(b"\r\n").decode("ascii", "backslashreplace")
