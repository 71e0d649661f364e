"""A microcontroller board that streams check-summed text sentences and drives relays."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Callable, Mapping
from functools import reduce
from operator import xor

from simulators.text_plan import LONGEST_SENTENCE, BoardPlan, FieldPlan, GroupPlan
from simulators.thermocouple import emf_mv

NO_SUCH_NAME = 1
NO_SUCH_VALUE = 2
NOT_DONE = 3
LONGEST_KEEP_MS = 60_000

_WHOLE = re.compile(rb"\$(([A-Z]+),(\d{1,5})(?:,(.*))?)\*([0-9A-F]{2})\r", re.DOTALL)

Values = Mapping[str, Callable[[], float | None]]
"""What each field shows now: degC of the junction itself also where microvolts are sent, 1 for a closed contact;
None where there is none."""

Relays = Mapping[str, Callable[[bool], bool]]
"""Each one drives a relay on or off and returns the state that it has now."""


def check_sum(body: bytes) -> int:
    """XOR of all bytes between $ and *, as in NMEA 0183 (from memory)."""
    return reduce(xor, body, 0)


def sentence(body: str) -> bytes:
    """The whole sentence, CR LF at its end."""
    return b"$%b*%02X\r\n" % (body.encode(), check_sum(body.encode()))


def taken_apart(line: bytes) -> tuple[str, int, str] | None:
    """Word, number and fields of a line that came without its LF; None unless it is one whole sentence."""
    whole = _WHOLE.fullmatch(line) if line.isascii() and len(line) < LONGEST_SENTENCE else None
    if whole is None or check_sum(whole[1]) != int(whole[5], 16) or int(whole[3]) > 0xFFFF:
        return None
    return whole[2].decode(), int(whole[3]), (whole[4] or b"").decode()


def _never() -> bool:
    return False


class Microcontroller:
    """One board. Times are wire time; make it within a running loop and close it in the end.

    Attributes:
        relays: which relay is on, by name.
        keep_s: time of the host's silence after which all relays rest, s; 0 while not armed.
        is_up: False from a reset until it has booted.
    """

    def __init__(
        self,
        plan: BoardPlan,
        *,
        now: Callable[[], float],
        say: Callable[[bytes], None],
        values: Values,
        relays: Relays,
        is_stuck: Callable[[], bool] = _never,
    ) -> None:
        """Begin as one that has just booted.

        Args:
            plan: what it sends and drives.
            now: wire time, s, of the same clock that the loop's timers follow.
            say: takes each sentence that it sends.
            values: by field.
            relays: by name.
            is_stuck: while true the values stay as they were; sentences go on.
        """
        self.relays = dict(plan.relays)
        self.keep_s = 0.0
        self.is_up = False
        self._plan = plan
        self._now = now
        self._say = say
        self._values = values
        self._drives = relays
        self._is_stuck = is_stuck
        self._shown: dict[str, str] = {}
        self._loop = asyncio.get_running_loop()
        self._timers: dict[str, asyncio.TimerHandle] = {}
        self._number = 0
        self._began_s = now()
        self._rest()
        self._boot()

    def reset(self) -> None:
        """Lose everything: relays rest, nothing is armed, all counts begin again, and no word until it has booted."""
        self.lose_power()
        self.regain_power()

    def lose_power(self) -> None:
        """Fall silent with all relays at rest."""
        self.close()
        self.is_up = False
        self.keep_s = 0.0
        self._rest()

    def regain_power(self) -> None:
        """Begin to boot."""
        self._timers["boot"] = self._loop.call_later(self._plan.boot_s, self._boot)

    def close(self) -> None:
        """Send nothing more."""
        for timer in self._timers.values():
            timer.cancel()
        self._timers.clear()

    def _boot(self) -> None:
        self.is_up = True
        self._number = 0
        self._began_s = self._now()
        self._every("beat", self._began_s, self._plan.beat_period_s, self._beat)
        for place, group in enumerate(self._plan.groups):
            first_s = self._began_s + group.period_s
            self._every(f"group {place}", first_s, group.period_s, lambda group=group: self._read(group))  # type: ignore[misc]

    def _every(self, name: str, due_s: float, period_s: float, call: Callable[[], None]) -> None:
        """Call at this time and then once a period, without drift."""

        def fire() -> None:
            self._every(name, due_s + period_s, period_s, call)
            call()

        self._timers[name] = self._loop.call_later(due_s - self._now(), fire)

    def _beat(self) -> None:
        self._send("BEAT", f"{self._now() - self._began_s:.1f}")

    def _read(self, group: GroupPlan) -> None:
        if not self._is_stuck() or not all(of.name in self._shown for of in group.fields):
            self._shown |= {of.name: self._text(of) for of in group.fields}
        self._send("READ", ",".join(f"{of.name}={self._shown[of.name]}" for of in group.fields))

    def _text(self, of: FieldPlan) -> str:
        value = self._values[of.name]()
        if value is None:
            return ""
        if of.form == "contact":
            return str(int(value))
        if of.form == "celsius":
            return f"{value:.2f}"
        junction_c = self._values[of.cold_junction]()
        if junction_c is None:
            return ""
        return f"{1000.0 * (emf_mv(of.thermocouple, value) - emf_mv(of.thermocouple, junction_c)):.1f}"

    def _send(self, word: str, fields: str) -> None:
        self._say(sentence(f"{word},{self._number},{fields}"))
        self._number = (self._number + 1) & 0xFFFF

    def hear(self, line: bytes, arrived_s: float) -> None:
        """Take a line without its LF that has ended at this wire time, s; what is not one whole sentence is nothing."""
        if not self.is_up:
            return
        heard = taken_apart(line)
        if heard is None:
            return
        word, number, fields = heard
        answer = {"SET": self._set, "KEEP": self._keep}.get(word, lambda _fields: "")(fields)
        self._watch(arrived_s)
        if answer:
            kind, _, rest = answer.partition(",")
            whole = sentence(f"{kind},{number},{rest}")
            self._timers[f"answer {number}"] = self._loop.call_later(self._plan.answer_delay_s, self._say, whole)

    def _set(self, fields: str) -> str:
        name, _, value = fields.partition("=")
        if name not in self.relays:
            return f"NOT,{NO_SUCH_NAME}"
        if value not in {"0", "1"}:
            return f"NOT,{NO_SUCH_VALUE}"
        wanted = value == "1"
        self.relays[name] = self._drives[name](wanted)
        return f"DONE,{name}={value}" if self.relays[name] is wanted else f"NOT,{NOT_DONE}"

    def _keep(self, fields: str) -> str:
        if not fields.isdecimal() or int(fields) > LONGEST_KEEP_MS:
            return f"NOT,{NO_SUCH_VALUE}"
        self.keep_s = int(fields) / 1000.0
        return f"DONE,{int(fields)}"

    def _watch(self, arrived_s: float) -> None:
        """Each whole sentence of the host begins the time anew."""
        if "keep" in self._timers:
            self._timers.pop("keep").cancel()
        if self.keep_s > 0.0:
            self._timers["keep"] = self._loop.call_later(arrived_s + self.keep_s - self._now(), self._rest)

    def _rest(self) -> None:
        for name, rests_on in self._plan.relays.items():
            self.relays[name] = self._drives[name](rests_on)
