"""The list of alarms, for a person with wet gloves: what acts now comes first, and what to do about it."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from typing import Any

from supervisor.cli.folding import Head, Status, fold, local_time, moment_text
from supervisor.core.alarms import LATCHED, AlarmState
from supervisor.core.words import duration

_SECTIONS = (
    ("ACTING NOW", ""),
    ("LATCHED", "the cause is gone; reset it once its reason is found"),
    ("RETURNED TO NORMAL", "nobody has acknowledged it"),
    ("SHELVED", "not told until then; what its cause does stays in force"),
    ("OUT OF SERVICE", "not told; what its cause does stays in force"),
    ("SUPPRESSED BY DESIGN", "of no account while no current flows"),
)

_INDENT = " " * 8


def alarm_list(status: dict[str, Any], columns: int | None = None) -> Iterator[str]:
    """Tell every alarm that is not normal and, in the last line, how many came lately.

    Sentences are broken at `columns`; None leaves each in one line.
    """
    now_wall_s = status["at"]["wall_s"]
    heads = fold(status["alarms"])
    yield f"line {status['line']} at {local_time(now_wall_s, dated=True)}" + ("" if heads else ": no alarms")
    for number, (title, says) in enumerate(_SECTIONS):
        mine = [head for head in heads if _section(head) == number]
        if mine:
            yield ""
            yield f"{title} ({says})" if says else title
        for head in mine:
            yield from _broken(_head_lines(head, now_wall_s, status["speed"]), columns)
    yield ""
    yield from _broken([("", rate_text(status["alarm_rate"]))], columns)


def _section(head: Head) -> int:
    """Say in which section a head stands; a consequence that acts keeps it in the first."""
    state = head.alarm["state"]
    hidden = {AlarmState.SHELVED: 3, AlarmState.OUT_OF_SERVICE: 4, AlarmState.SUPPRESSED: 5}
    if state in hidden:
        return hidden[state]
    if state in LATCHED and not head.acts:
        return 1
    return 2 if state == AlarmState.RETURNED_UNACKNOWLEDGED and not head.acts else 0


def _head_lines(head: Head, now_wall_s: float, speed: float) -> Iterator[tuple[str, str]]:
    """The lines of one head, each as its indent and its text."""
    alarm = head.alarm
    yield "  ", f"{alarm['priority'].upper():<7}{alarm['name']}   {alarm['state']}, {_came(alarm, now_wall_s)}"
    if head.hidden:
        yield _INDENT, _hidden(alarm, now_wall_s, speed)
    if not head.hidden or alarm["active"]:
        yield _INDENT, alarm["what"]
        yield _INDENT, alarm["follows"]
        yield _INDENT, f"First: {alarm['first']}"
        yield _INDENT, f"Time:  {alarm['time']}"
    if head.consequences:
        yield _INDENT, f"Consequences ({len(head.consequences)}):"
    for one in head.consequences:
        yield f"{_INDENT}  ", f"{one['name']}   {one['state']}: {one['what']}"


def _came(alarm: Status, now_wall_s: float) -> str:
    """Tell since when an alarm's cause is there, or was there last; one can be hidden that never came."""
    if not alarm["count"]:
        return "never come yet"
    times = f", {alarm['count']} times by now" if alarm["count"] > 1 else ""
    return f"since {moment_text(alarm['since_wall_s'], now_wall_s)}{times}"


def _hidden(alarm: Status, now_wall_s: float, speed: float) -> str:
    """Tell until when and why an alarm is hidden, and that it would be told otherwise where that is so."""
    parts = []
    left_s = alarm["shelved_for_s"]
    if left_s is not None:
        parts.append(f"until {moment_text(now_wall_s + left_s / speed, now_wall_s)}, {duration(round(left_s))} more")
    if alarm["why"]:
        parts.append(f"because: {alarm['why']}")
    if alarm["active"]:
        parts.append("ITS CAUSE IS THERE NOW")
    return "; ".join(parts) or "its cause says so, and no load is under current"


def rate_text(rate: dict[str, Any]) -> str:
    """Tell how many alarms came lately against what a person can deal with, and which of them mean nothing."""
    minutes, count, flood = rate["within_s"] / 60, rate["told_lately"], rate["flood_from"]
    came = f"{count} alarm{'s' * (count != 1)} in the last {minutes:g} min"
    head = f"FLOOD: {came}" if count >= flood else came
    measure = f"1 in {minutes:g} min can be dealt with, {flood} are a flood"
    chattering, standing = (", ".join(rate[key]) or "none" for key in ("chattering", "standing_long"))
    return f"{head} ({measure}); chattering: {chattering}; standing for more than a day: {standing}."


def history_lines(log: Sequence[dict[str, Any]]) -> Iterator[str]:
    """Tell what became of alarms, newest last."""
    for one in log:
        under = f", under {one['under']}" if one["under"] else ""
        why = f", because: {one['why']}" if one["why"] else ""
        yield f"{local_time(one['wall_s'], dated=True)}  {one['name']}  {one['what']}: {one['state']}{under}{why}"
    if not log:
        yield "Nothing has become of any alarm yet."


def _broken(lines: Iterator[tuple[str, str]] | Sequence[tuple[str, str]], columns: int | None) -> Iterator[str]:
    for indent, text in lines:
        if columns is None:
            yield f"{indent}{text}"
        else:
            hang = f"{indent}       " if text.startswith(("First:", "Time:")) else indent
            yield from textwrap.wrap(text, columns, initial_indent=indent, subsequent_indent=hang)
