"""A board that speaks unasked in sentences with check sums: values, contacts, a heartbeat, and relays of its own."""

from __future__ import annotations

import math
import secrets
from collections import deque
from collections.abc import Collection, Mapping
from dataclasses import replace

from drivers import sentences
from drivers.points import DeviceMap, Field, SerialSettings
from drivers.ports import BadAnswer, NoAnswer, Refused, Scan, Sent, Times
from drivers.sentences import NUMBERS, Sentence
from drivers.text_link import NEWEST_KEPT, Line, TextLink
from drivers.text_times import line_s
from drivers.uncut import to_its_end

HEARTBEAT = "heartbeat"
"""The point that tells for how long the board has been running, s."""

REFUSALS = {
    1: "it has no relay of this name; compare the labels in its profile with the board's program",
    2: "it does not take this value",
    3: "it could not do it",
}

CLOCKS_APART_S = 1.0
"""By so much the board's clock may be ahead of what went by here since its last heartbeat, s, and a hundredth."""


class BoardSentence:
    """One board on a link of its own. A read waits for its next sentence; a command waits for its confirmation.

    Raises ValueError at once for a map it cannot use.
    """

    streams = True

    def __init__(self, link: TextLink, device_map: DeviceMap) -> None:
        self.name = device_map.name
        self._link = link
        self._fields = _fields(device_map)
        self._keep_ms = None if device_map.keep_s is None else math.floor(device_map.keep_s * 1000)
        self.keep_every_s: float | None = None if device_map.keep_s is None else device_map.keep_s / 3
        self.groups: tuple[frozenset[str], ...] = (frozenset(self._fields),)
        self._kept: deque[Line] = deque(maxlen=NEWEST_KEPT)
        self._number = secrets.randbelow(NUMBERS)
        self._openings = link.openings
        self._last: int | None = None
        self._beat: tuple[float, float] | None = None

    # -- reading

    async def read(self, due: Collection[str]) -> Scan:
        """Wait for the next sentence that tells one of the points, and read those of them that it tells.

        Raises WireError: NoAnswer where none came for the response time-out, BadAnswer for one that is spoilt.
        ValueError for points the board does not have.
        """
        if not due or not set(due) <= self.groups[0]:
            raise ValueError(f"{self.name}: {sorted(due)} are not points of it")
        await self._open()
        time_out_s = self._link.settings.response_time_out_s
        until_s = self._link.now() + time_out_s
        while True:
            line = self._kept.popleft() if self._kept else await self._link.next_line(until_s)
            if line is not None and self._link.now() - line.t_sent_s > 2 * time_out_s:
                self._kept.clear()
                self._link.flush()  # this process stood still: nobody knows when what lies there was sent
                continue
            scan = None if line is None else self._scan(line, due)
            if scan is not None:
                return scan
            if self._link.now() >= until_s:
                where = f"{self.name} on {self._link.settings.place}"
                raise NoAnswer(f"{where} told nothing that was asked for within {time_out_s * 1000:.0f} ms")

    async def _open(self) -> None:
        """Open the link where need be; what was known of the board before it was opened is worth nothing."""
        await self._link.open()
        if self._openings != self._link.openings:
            self._openings = self._link.openings
            self._kept.clear()
            self._last = self._beat = None

    def _scan(self, line: Line, due: Collection[str]) -> Scan | None:
        """What a line tells of these points; None for nothing, for what is no news, and for a first half line."""
        try:
            said = sentences.decode(line.data)
            told = self._told(said, line) if said.word in {"READ", "BEAT"} else {}
        except ValueError as exc:
            if line.first:
                return None
            raise BadAnswer(f"{self.name} on {self._link.settings.place} sent a spoilt sentence: {exc}") from None
        names = [name for name in due if _label(self._fields[name]) in told]
        if not names:
            return None
        raw = {name: told[_label(self._fields[name])] for name in names}
        values = {name: _value(self._fields[name], number) for name, number in raw.items()}
        whole = {name: _whole(number) for name, number in raw.items()}
        return Scan(values, whole, line.t_sent_s, line.t_received_s)

    def _told(self, said: Sentence, line: Line) -> Mapping[str, float | None]:
        """The values of a sentence by label; none where it is a repeated or an old one."""
        if said.word == "READ":
            told = {name: value for name, value in sentences.values(said).items() if name != HEARTBEAT}
        else:
            told = {HEARTBEAT: _beat(said)}
        return told if self._is_news(said, told.get(HEARTBEAT), line) else {}

    def _is_news(self, said: Sentence, beat_s: float | None, line: Line) -> bool:
        """Tell whether a sentence follows the last one, or comes from a board that has begun anew.

        An older number alone may be a repeated sentence. A heartbeat smaller than the one before tells of a reset,
        if the board can have come so far since the one before.
        """
        ahead = None if self._last is None else (said.number - self._last) % NUMBERS
        news = ahead is None or 0 < ahead < NUMBERS // 2
        if beat_s is not None and self._beat is not None:
            before_s, seen_s = self._beat
            since_s = line.t_received_s - seen_s
            news = news or (beat_s < before_s and beat_s <= since_s * 1.01 + CLOCKS_APART_S)
        if news:
            self._last = said.number
            self._beat = self._beat if beat_s is None else (beat_s, line.t_sent_s)
        return news

    # -- commanding

    async def set_switch(self, point: str, *, on: bool) -> Sent:
        """Switch the relay at a point and wait until the board tells its new state.

        Raises WireError, NoAnswer also where only the answer was lost; ValueError for a point that is no switch.
        """
        wanted = "on" if on else "off"
        field = self._fields.get(point)
        raw = None if field is None else next((raw for raw, word in field.states.items() if word == wanted), None)
        if field is None or raw is None:
            raise ValueError(f"{self.name}: {point} is no switch: it needs the states off and on")
        return await self._command("SET", f"{_label(field)}={raw}")

    async def keep(self) -> Sent:
        """Tell the board to keep its relays for a while longer. Raises WireError; ValueError if it cannot be told."""
        if self._keep_ms is None:
            raise ValueError(f"{self.name} is not told to keep its relays: its profile gives no time for that")
        return await self._command("KEEP", str(self._keep_ms))

    async def _command(self, word: str, text: str) -> Sent:
        await self._open()
        self._number = (self._number + 1) % NUMBERS
        return await to_its_end(self._confirmed(Sentence(word, self._number, (text,))))

    async def _confirmed(self, order: Sentence) -> Sent:
        """Send an order and wait for its confirmation; whatever else comes meanwhile is kept for the next read."""
        link = self._link
        where = f"{self.name} on {link.settings.place}"
        sent = await link.send(sentences.encode(order))
        until_s = sent.t_sent_s + link.settings.response_time_out_s
        while (line := await link.next_line(until_s)) is not None:
            said = _answer_to(order, line)
            if said is None:
                self._kept.append(line)
                if line.t_received_s > until_s:
                    break
            elif said.word == "NOT":
                code = int(said.fields[0])
                meaning = REFUSALS.get(code, "the board's program tells what that means")
                raise Refused(f"{where} refused `{order.word} {order.fields[0]}` with code {code}: {meaning}", code)
            elif said.fields != order.fields:
                raise BadAnswer(f"{where} confirmed `{','.join(said.fields)}`, ordered was `{order.fields[0]}`")
            else:
                return Sent(sent.t_sent_s, line.t_received_s)
        limit_ms = link.settings.response_time_out_s * 1000
        raise NoAnswer(f"{where} did not confirm `{order.word} {order.fields[0]}` within {limit_ms:.0f} ms")


def board_times(settings: SerialSettings, device_map: DeviceMap) -> Times:
    """Work out how long an order and its confirmation take, behind a sentence that is just being sent.

    A read is given up for an order at any moment, so it keeps the link busy for no time.
    """
    longest = max((len(_label(field)) for field in _fields(device_map).values()), default=0)
    order = len("$DONE,65535,=1*00\r\n") + longest
    command_s = line_s(settings, sentences.LONGEST + 2 * order) + device_map.worst_answer_s + device_map.quiet_s
    return Times(command_s, command_s)


def _fields(device_map: DeviceMap) -> dict[str, Field]:
    """The points of a board. Raises ValueError for what it cannot be told or cannot mean."""
    if device_map.opening:
        raise ValueError(f"{device_map.name}: a board takes no opening texts; leave `opening` out of its profile")
    if device_map.keep_s is not None and device_map.keep_s < 0.001:
        raise ValueError(f"{device_map.name}: a board counts in milliseconds; let it keep its relays for longer")
    fields: dict[str, Field] = {}
    for name, point in device_map.points.items():
        assert isinstance(point, Field)
        if sentences.NAME.fullmatch(_label(point)) is None:
            raise ValueError(
                f"{device_map.name}: a sentence cannot name `{_label(point)}`; give {name} a label of at most 24 small "
                "letters, digits and hyphens that begins with a letter"
            )
        fields[name] = point
    if len({_label(field) for field in fields.values()}) < len(fields):
        raise ValueError(f"{device_map.name}: two points have one label; give each its own")
    return fields


def _label(field: Field) -> str:
    return field.label or field.name


def _beat(said: Sentence) -> float:
    if len(said.fields) != 1:
        raise ValueError("a heartbeat tells one number")
    return sentences.decimal(said.fields[0])


def _value(field: Field, number: float | None) -> float | None:
    """A number as it came in the point's unit. Raises BadAnswer for a state the profile does not know."""
    if number is None or number in field.no_value:
        return None
    if field.states:
        if number not in field.states:
            known = ", ".join(f"{raw} = {word}" for raw, word in field.states.items())
            raise BadAnswer(f"{field.name} came as {number:g}, which is no state of it ({known})")
        return number
    return number * field.scale + field.offset


def _whole(number: float | None) -> tuple[int, ...]:
    """What stood in the sentence, if that was a whole number; a fraction has no registers to show."""
    return (int(number),) if number is not None and number.is_integer() else ()


def _answer_to(order: Sentence, line: Line) -> Sentence | None:
    """A line as the answer to an order, if it is that."""
    try:
        said = sentences.decode(line.data)
        if said.word not in {"DONE", "NOT"} or said.number != order.number:
            return None
        return said if said.word == "DONE" else replace(said, fields=(str(int(said.fields[0])),))
    except ValueError:
        return None
