"""Faults on a serial bus as a whole: a plug that is out and in again, and babble."""

from __future__ import annotations

import asyncio
import os
import time
from dataclasses import replace
from pathlib import Path

from simulators.faults import read_faults
from simulators.line import names_of
from simulators.modbus_frames import with_crc
from simulators.plan import LinePlan
from simulators.server import LineServer, LinkFolder
from simulators.tables import Reader
from tests.simulators.conftest import Bench, Peer, prompt

READ = "01 03 00 10 00 01"


async def test_a_port_that_is_gone_hangs_up_and_comes_back_as_another_pty(plan: LinePlan, tmp_path: Path) -> None:
    server = LineServer(prompt(plan), now=time.monotonic, tell=lambda _: None)
    server.folder = LinkFolder(tmp_path, server.places())
    end = os.open(tmp_path / "bus", os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    assert server.order({"fault": {"what": "port gone"}}) == ""
    await asyncio.sleep(0)
    assert not (tmp_path / "bus").is_symlink()
    assert server.places() == {}
    try:
        hung_up = os.read(end, 1) == b""
    except OSError:
        hung_up = True
    os.close(end)
    assert hung_up
    assert server.order({"clear": "port gone"}) == ""
    await asyncio.sleep(0)
    peer = Peer(str(tmp_path / "bus"))
    assert (await peer.ask(READ, 7)).startswith("01 03 02")
    peer.close()
    server.close()
    server.folder.remove()
    assert os.listdir(tmp_path) == []  # noqa: PTH208 - pathlib may not be asked within a coroutine


async def test_what_was_under_way_is_lost_with_the_plug(plan: LinePlan) -> None:
    slow = replace(plan, devices={name: replace(of, answer_delay_s=0.02) for name, of in plan.devices.items()})
    bench = Bench(slow)
    assert (await bench.peer.ask(READ, 7)).startswith("01 03 02")
    server, before = bench.server, bench.server.bytes_sent
    bench.peer.send(with_crc(bytes.fromhex("01 06 00 12 00 01")))
    await asyncio.sleep(0.005)
    bench.peer.close()
    server.order({"fault": {"what": "port gone"}})
    await asyncio.sleep(0.04)
    assert server.bytes_sent == before
    server.close()


async def test_a_port_that_is_gone_from_the_start_is_gone_when_the_loop_goes_on(plan: LinePlan) -> None:
    faults = read_faults(Reader({"what": "port gone", "at_s": 0}, ""), names_of(plan))
    server = LineServer(prompt(plan), now=time.monotonic, tell=lambda _: None, faults=faults)
    await asyncio.sleep(0)
    assert server.places() == {}
    server.close()


async def test_a_port_stays_gone_until_the_last_of_two_faults_has_ended(plan: LinePlan) -> None:
    tables = ({"what": "port gone", "at_s": 0, "for_s": 2.0}, {"what": "port gone", "at_s": 1.0, "for_s": 3.0})
    faults = [fault for table in tables for fault in read_faults(Reader(table, ""), names_of(plan))]
    server = LineServer(prompt(plan), now=time.monotonic, tell=lambda _: None, faults=faults)
    standing = []
    for process_s in (0.5, 1.5, 3.0, 5.0):
        server.line.advance(process_s)
        await asyncio.sleep(0)
        standing.append("bus" in server.links)
    server.close()
    assert standing == [False, False, False, True]


async def test_bytes_that_went_over_a_port_before_it_was_gone_stay_counted(bench: Bench) -> None:
    await bench.peer.ask(READ, 7)
    bench.server.order({"fault": {"what": "port gone"}})
    await asyncio.sleep(0)
    assert (bench.server.bytes_received, bench.server.bytes_sent) == (8, 7)
    bench.server.order({"clear": "port gone"})
    await asyncio.sleep(0)
    peer = Peer(bench.server.links["bus"].path)
    await peer.ask(READ, 7)
    peer.close()
    assert (bench.server.bytes_received, bench.server.bytes_sent) == (16, 14)


async def test_babble_comes_unasked_and_ends(bench: Bench) -> None:
    bench.server.order({"fault": {"what": "babble", "every_ms": 2, "bytes": 4}})
    assert len(await bench.peer.take(8)) == 8
    bench.server.order({"clear": "babble"})
    await bench.peer.rest(0.01)
    assert await bench.peer.rest(0.02) == b""
    assert (await bench.peer.ask(READ, 7)).startswith("01 03 02")


async def test_two_babbles_are_one(bench: Bench) -> None:
    for _ in range(2):
        bench.server.order({"fault": {"what": "babble", "every_ms": 10, "bytes": 1}})
    assert len(await bench.peer.rest(0.2)) <= 21
    bench.server.order({"clear": "babble"})
    await bench.peer.rest(0.01)
    assert await bench.peer.rest(0.03) == b""


async def test_a_slow_drip_leaves_gaps_between_bytes_of_a_whole_answer(bench: Bench) -> None:
    good = await bench.peer.ask(READ, 7)
    bench.server.order({"fault": {"what": "slow drip", "device": "rectifier", "gap_ms": 5}})
    began_s = time.monotonic()
    assert await bench.peer.ask(READ, 7) == good
    assert time.monotonic() - began_s >= 6 * 0.005 - 1e-3
