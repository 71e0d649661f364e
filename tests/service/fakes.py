"""Devices that answer from a script, for service tests; time passes only when a test says so."""

from __future__ import annotations

import asyncio
from collections.abc import Collection
from dataclasses import dataclass, field

from drivers.ports import Scan, Sent


@dataclass
class FakeSupply:
    """A supply device in memory: obeys, measures what it is set to, fails as told."""

    name: str = "supply"
    streams: bool = False
    groups: tuple[frozenset[str], ...] = (frozenset({"current", "voltage"}),)
    on: bool = True
    set_a: float = 1.0
    now_s: float = 0.0
    took_s: float = 0.01
    calls: list[str] = field(default_factory=list)
    fails: dict[str, Exception] = field(default_factory=dict)
    shows: dict[str, float | None] = field(default_factory=dict)
    deaf: bool = False

    def _did(self, call: str) -> Sent:
        self.calls.append(call)
        began_s = self.now_s
        self.now_s += self.took_s
        if call in self.fails:
            raise self.fails[call]
        return Sent(began_s, self.now_s)

    async def read(self, due: Collection[str]) -> Scan:
        await asyncio.sleep(0)
        sent = self._did("read")
        values = {"current": self.set_a if self.on else 0.0, "voltage": 15.0 if self.on else 0.0, **self.shows}
        return Scan({p: values[p] for p in due}, dict.fromkeys(due, (1,)), sent.t_sent_s, sent.t_received_s)

    async def set_current(self, current_a: float) -> Sent:
        sent = self._did(f"current {current_a:g}")
        self.set_a = current_a
        return sent

    async def set_voltage(self, voltage_v: float) -> Sent:
        return self._did(f"voltage {voltage_v:g}")

    async def switch_on(self) -> Sent:
        sent = self._did("on")
        self.on = True
        return sent

    async def switch_off(self) -> Sent:
        await asyncio.sleep(0)
        sent = self._did("off")
        self.on = self.on and self.deaf
        return sent

    async def arm_time_out(self, time_out_s: float) -> Sent | None:
        return self._did(f"time-out {time_out_s:g}")
