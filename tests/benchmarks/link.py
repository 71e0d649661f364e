"""What our strict link costs beside the bare library on the same pty."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Iterator
from dataclasses import dataclass

from pymodbus.client import AsyncModbusSerialClient

from drivers.modbus_frames import frame_gap_s
from drivers.modbus_rtu import RtuLink
from drivers.points import SerialSettings
from supervisor.config.setup import link_settings
from supervisor.service.clock import boot_clock_s
from tests.campaigns.figures import Figure
from tests.harness.lines import Files, short_folder, write_files
from tests.harness.wire import simulators

UNIT, ADDRESS, COUNT = 1, 0, 4
ANSWER_DELAY_S = 0.002


@dataclass(frozen=True)
class Cost:
    """Of one transaction: real time and CPU time of this process, s."""

    real_s: float
    cpu_s: float


async def _ours(files: Files, transactions: int) -> Cost:
    settings = link_settings(files.load())["bus"]
    assert isinstance(settings, SerialSettings)
    link = RtuLink(settings, boot_clock_s)
    await link.read(UNIT, "input register", ADDRESS, COUNT)
    began_s, cpu_s = time.perf_counter(), time.process_time()
    for _ in range(transactions):
        await link.read(UNIT, "input register", ADDRESS, COUNT)
    cost = Cost((time.perf_counter() - began_s) / transactions, (time.process_time() - cpu_s) / transactions)
    await link.close()
    return cost


async def _bare(files: Files, transactions: int) -> Cost:
    client = AsyncModbusSerialClient(str(files.links / "bus"), baudrate=19200, timeout=0.5, retries=0)
    assert await client.connect()
    await client.read_input_registers(ADDRESS, count=COUNT, device_id=UNIT)
    began_s, cpu_s = time.perf_counter(), time.process_time()
    for _ in range(transactions):
        answer = await client.read_input_registers(ADDRESS, count=COUNT, device_id=UNIT)
        assert not answer.isError()
    cost = Cost((time.perf_counter() - began_s) / transactions, (time.process_time() - cpu_s) / transactions)
    client.close()
    return cost


def link_figures(transactions: int) -> Iterator[Figure]:
    """Read the same registers through both; the silence that the bus needs counts as the floor's, not as ours."""
    with short_folder() as folder:
        files = write_files(folder)
        with simulators(files):
            bare = asyncio.run(_bare(files, transactions))
            ours = asyncio.run(_ours(files, transactions))
    floor_s = bare.real_s + frame_gap_s(19200)
    yield Figure("link_transaction_ms", 1000 * ours.real_s, "report", transactions, None, "wire")
    yield Figure("link_time_ratio", ours.real_s / floor_s, "<= 1.5", transactions, None, "wire, to the bare library")
    yield Figure("link_cpu_ratio", ours.cpu_s / bare.cpu_s, "<= 3", transactions, None, "CPU, to the bare library")
