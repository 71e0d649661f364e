"""How many requests a device with scattered registers takes: real ones, counted at a server on a third library."""

from __future__ import annotations

import asyncio
import random

from drivers.catalog import build_device, build_link
from drivers.points import TcpSettings
from drivers.registers import Register, RegisterMap
from supervisor.core.events import Scanned
from supervisor.core.setup import Accuracy, ChannelSetup
from supervisor.service.clock import Clock, boot_clock_s
from supervisor.service.dispatch import Outbox
from supervisor.service.polling import LinkRunner
from supervisor.service.turns import turns
from tests.campaigns.figures import Figure
from tests.drivers.tcp_peer import umodbus_server

SEED = 3
CLUSTERS = (100, 400, 900)
IN_EACH = 8
WIDEST_HOLE = 4


def merged_requests() -> Figure:
    """Read 24 registers in 3 clusters once, as the service reads them; every value must be the register's own."""
    addresses = _scattered()
    registers = {address: address for first in CLUSTERS for address in range(first, first + 64)}
    with umodbus_server(registers, {0: 0}) as port:
        requests, values = asyncio.run(_read_once(port, addresses))
    if values != {f"p{address}": float(address) for address in addresses}:
        raise RuntimeError(f"Not every register came back as it is: {values}")
    return Figure("merged_requests", requests, "3..3", len(addresses), SEED, "wire", timing=False)


def _scattered() -> list[int]:
    """Eight registers in each cluster, in no order, with holes that a read may pass over."""
    chance = random.Random(SEED)
    found = []
    for first in CLUSTERS:
        address = first
        for _ in range(IN_EACH):
            found.append(address)
            address += chance.randint(1, WIDEST_HOLE + 1)
    chance.shuffle(found)
    return found


async def _read_once(port: int, addresses: list[int]) -> tuple[int, dict[str, float | None]]:
    sent: list[bytes] = []
    settings = TcpSettings("net", "modbus tcp", 2.0, 0.0, host="127.0.0.1", port=port)
    link = build_link(settings, boot_clock_s, lambda sending, data: sent.append(data) if sending else None)
    points = {f"p{address}": Register(f"p{address}", "holding register", address) for address in addresses}
    device = build_device(
        link, RegisterMap("module", "modbus module", 1, points, 0.1, widest_hole=WIDEST_HOLE, longest_read=64)
    )
    channels = [ChannelSetup(name, "module", name, "A", 0.0, 65535.0, Accuracy(0, 0), 60.0, 180.0) for name in points]
    clock = Clock()
    runner = LinkRunner(Outbox(), turns({"module": device}, channels, clock), {}, {}, 2.0, clock)
    values: dict[str, float | None] = {}
    whole = asyncio.Event()

    def post(event: object) -> None:
        assert isinstance(event, Scanned)
        values.update({reading.channel: reading.value for reading in event.readings})
        if len(values) == len(addresses):
            whole.set()

    running = asyncio.create_task(runner.run(post, lambda: None, lambda: True))
    await asyncio.wait_for(whole.wait(), 10.0)
    running.cancel()
    await asyncio.wait({running})
    await link.close()
    return len(sent), values
