"""Simulated devices against clients on third libraries: one for each protocol that is spoken here."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from pathlib import Path

import pynmea2
import pytest
import pyvisa
from pyModbusTCP.client import ModbusClient

from simulators.line import Truth
from simulators.microcontroller import check_sum
from simulators.plan import read_plan
from simulators.server import LineServer
from supervisor.service.clock import boot_clock_s

CORNER = Path(__file__).parents[2] / "simulators" / "lines" / "scpi.toml"


@pytest.fixture
async def server() -> AsyncIterator[LineServer]:
    """The line that has an SCPI supply, a board, and relays on TCP."""
    truths: list[Truth] = []
    made = LineServer(read_plan(CORNER), now=boot_clock_s, tell=truths.append)
    yield made
    made.close()


async def test_relays_on_tcp_are_switched_and_read_back_by_a_third_library(server: LineServer) -> None:
    host, _, port = server.places()["network"].rpartition(":")

    def ask() -> tuple[bool, list[bool] | None, list[bool] | None, int]:
        client = ModbusClient(host=host, port=int(port), unit_id=1, timeout=2.0)
        done = bool(client.write_single_coil(0, True))
        coils, contacts = client.read_coils(0, 3), client.read_discrete_inputs(0, 1)
        client.read_coils(40, 1)
        refused = client.last_except
        client.close()
        return done, coils, contacts, refused

    done, coils, contacts, refused = await asyncio.to_thread(ask)
    assert (done, coils, contacts, refused) == (True, [True, False, False], [True], 2)
    assert server.line.switches["main-contactor"].is_on


async def test_several_relays_are_written_in_one_request_by_a_third_library(server: LineServer) -> None:
    host, _, port = server.places()["network"].rpartition(":")

    def ask() -> bool:
        client = ModbusClient(host=host, port=int(port), unit_id=1, timeout=2.0)
        done = bool(client.write_multiple_coils(0, [True, True, False]))
        client.close()
        return done

    assert await asyncio.to_thread(ask)
    assert [server.line.switches[name].is_on for name in ("main-contactor", "horn", "cooling")] == [True, True, False]


async def test_the_scpi_supply_is_driven_by_a_third_library(server: LineServer) -> None:
    """Answers as SCPI-1999 and IEEE 488.2 have them (from memory): four fields of identity, 0 and "No error"."""
    path = server.places()["supply"]

    def ask() -> list[str]:
        manager = pyvisa.ResourceManager("@py")
        supply = manager.open_resource(f"ASRL{path}::INSTR", read_termination="\n", write_termination="\n")
        supply.timeout = 2000
        assert hasattr(supply, "write")
        assert hasattr(supply, "query")
        for command in ("*CLS", "SYST:REM", "VOLT 12.5", "CURR 500 MA", "CURR 99"):
            supply.write(command)
        found = [supply.query(q) for q in ("*IDN?", "SYST:ERR?", "SYST:ERR?", "VOLT?", "CURR?", "OUTP?")]
        supply.close()
        manager.close()
        return found

    identity, error, none, volt, current, output = await asyncio.to_thread(ask)
    assert len(identity.split(",")) == 4
    assert (error, none) == ('-222,"Data out of range"', '0,"No error"')
    assert (float(volt), float(current), output) == (12.5, 0.5, "0")


async def test_a_boards_sentences_have_the_check_sum_that_a_third_library_works_out(server: LineServer) -> None:
    with open(server.places()["board"], "rb", buffering=0) as port:  # noqa: ASYNC230, PTH123 - a pty, in pieces

        def listen() -> list[str]:
            data = b""
            while data.count(b"\n") < 3:
                data += port.read(256)
            return data.decode().splitlines()[:3]

        lines = await asyncio.wait_for(asyncio.to_thread(listen), 5.0)
    for line in lines:
        body, _, told = line.removeprefix("$").partition("*")
        assert pynmea2.NMEASentence.checksum(body) == int(told, 16)


def test_the_published_sentence_has_its_published_check_sum() -> None:
    # NMEA 0183, as it is quoted everywhere: $GPGLL,4916.45,N,12311.12,W,225444,A,*1D
    assert check_sum(b"GPGLL,4916.45,N,12311.12,W,225444,A,") == 0x1D
