"""An invented SCPI supply for the tests of its driver."""

from __future__ import annotations

import asyncio

from drivers.points import Field
from tests.drivers.text_peer import TextPeer

NO_ERROR = '0,"No error"'
TIME_OUT = Field("time_out", scale=0.1, unit="s", low=0, high=60, command="SYST:COMM:TIM", query="SYST:COMM:TIM?")
RESTARTED = Field("restarted", bits={7: "yes"})


class Bench:
    """What an invented supply answers: it keeps what it is told, and refuses nothing by itself."""

    def __init__(self) -> None:
        self.kept = {"CURR": "0.000", "VOLT": "0.00", "OUTP": "0", "SYST:COMM:TIM": "0.0"}
        self.errors: list[str] = []

    def reply(self, line: str) -> bytes | None:
        """The answer to one line."""
        head, _, value = line.partition(" ")
        if value:
            self.kept[head] = {"ON": "1", "OFF": "0"}.get(value, value)
        if line == "*CLS":
            self.errors.clear()
        if line == "SYST:ERR?":
            return (self.errors.pop(0) if self.errors else NO_ERROR).encode() + b"\n"
        return self.kept[head[:-1]].encode() + b"\n" if head.endswith("?") else None


async def settled(far: TextPeer) -> list[str]:
    """All that was heard, the last line too."""
    await asyncio.sleep(0.005)
    return far.heard
