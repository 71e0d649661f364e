"""What a broker that is away, goes on the way or never answers does to a load: nothing to its dose or the loop."""

from __future__ import annotations

import asyncio
import json
import socket
import sys
from collections.abc import AsyncIterator, Iterator
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass
from statistics import median

from supervisor.core.anodize import State
from supervisor.demo.broker import DemoBroker
from supervisor.service.clock import boot_clock_s
from tests.campaigns.figures import Figure, percentile
from tests.edges.mqtt_kit import bad_broker, publishes, real_broker
from tests.harness.lines import SPEED, Files, short_folder, write_files
from tests.harness.virtual import virtual_line
from tests.harness.virtual_loop import run_virtual
from tests.harness.wire import Running, simulators, started

SEED = 3
WAYS = ("away", "goes", "half-open")
"""Nobody listens; it is killed at a third of the load; it takes connections and never answers."""

ALLOWED_MS = 2.0


def broker_figures(quick: bool) -> Iterator[Figure]:
    """Measure the same load with the broker there and with it away in every way; the worst of these counts."""
    target = "2 um" if quick else "20 um"
    there, *away = (run_virtual(_dose(way, target)) for way in ("there", *WAYS))
    # The same steps at the same moments: not even the arithmetic differs, so the bound is what doubles can show.
    percent = max(
        100 * abs(value / there_value - 1) for one in away for value, there_value in zip(one, there, strict=True)
    )
    base = f"process, at {SPEED:g} x"
    yield Figure("broker_away_dose_difference_percent", percent, "<= 1e-9", len(away), SEED, base, timing=False)
    yield from _lateness(target="2 um" if quick else "6 um", rounds=1 if quick else 5)


def _lateness(target: str, rounds: int) -> Iterator[Figure]:
    """Take all ways in turn, several times: what else the computer does meets each alike, and medians shed it."""
    p99s_ms: dict[str, list[float]] = {way: [] for way in ("there", *WAYS)}
    looks = 0
    for _ in range(rounds):
        for way, found_ms in p99s_ms.items():
            late_ms = asyncio.run(_late_ms(way, target))
            looks += len(late_ms)
            found_ms.append(percentile(late_ms, 0.99))
    there_ms, *away_ms = (median(found_ms) for found_ms in p99s_ms.values())
    base = f"wire, p99, median of {rounds}"
    yield Figure("loop_lateness_broker_there_ms", there_ms, "report", looks, SEED, base)
    limit = f"<= {there_ms + ALLOWED_MS:.4g}"
    yield Figure("loop_lateness_broker_away_ms", max(away_ms), limit, looks, SEED, base)


# -- the dose, on the virtual clock


async def _dose(way: str, target: str) -> tuple[float, float]:
    """Return the true and the estimated charge of one load, C."""
    async with AsyncExitStack() as stack:
        broker = await stack.enter_async_context(AsyncExitStack())
        port = _free_port()
        if way in {"there", "goes"}:
            await broker.enter_async_context(real_broker(port))
        if way == "half-open":
            port = await broker.enter_async_context(_half_open())
        line = await stack.enter_async_context(virtual_line(seed=SEED))
        publishes(line.files, port)
        await line.start()
        await line.begin(target)
        await line.until(lambda: line.operation.dose.charge.best > line.operation.plan.target_c / 3, 7200.0)
        if way == "goes":
            await broker.aclose()
        await line.until_state(State.COMPLETE, within_s=7200.0)
        return line.true_charge_c, line.operation.dose.charge.best


@asynccontextmanager
async def _half_open() -> AsyncIterator[int]:
    async def never_answer(reader: asyncio.StreamReader, _writer: asyncio.StreamWriter) -> None:
        while await reader.read(1024):
            pass

    async with bad_broker(never_answer) as port:
        yield port


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


# -- the loop, in a process of its own


@dataclass(frozen=True)
class _Wire:
    """A line in processes of its own."""

    files: Files
    running: Running

    async def until_share(self, share: float) -> None:
        while True:
            operation = (await asyncio.to_thread(self.running.supply))["operation"]
            if operation["charge_c"]["best"] >= share * operation["target"]["charge_c"]:
                return
            await asyncio.sleep(0.1)


async def _late_ms(way: str, target: str) -> list[float]:
    """Return how late the service's loop was, each time it was looked at, ms."""
    with short_folder() as folder:
        files, out = write_files(folder), folder / "late.json"
        async with AsyncExitStack() as stack:
            broker, port = DemoBroker(folder / "broker.log"), _free_port()
            stack.push_async_callback(broker.kill)
            if way in {"there", "goes"}:
                assert await broker.start()
                port = broker.port
            elif way == "half-open":
                port = await stack.enter_async_context(_half_open())
            publishes(files, port)
            command = [sys.executable, "-m", "tests.campaigns.lateness", str(files.line), f"{SPEED}", str(out)]
            with simulators(files, speed=SPEED, seed=SEED), started(command, files.folder / "service.log") as process:
                line = _Wire(files, Running(process, "demo", boot_clock_s()))
                await asyncio.to_thread(line.running.until_proven, 10.0)
                await asyncio.to_thread(line.running.begin, target)
                await line.until_share(1 / 3)
                if way == "goes":
                    await broker.kill()
                await asyncio.to_thread(line.running.until, "complete", 120.0)
                assert await asyncio.to_thread(line.running.stop) == 0
        found: list[float] = json.loads(out.read_text(encoding="utf-8"))
        return found
