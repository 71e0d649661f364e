"""A thermocouple's voltage as a board says it, by the printed tables, becomes the temperature those tables name.

Source: NIST ITS-90 Thermocouple Database, SRD 60 (NIST Monograph 175): emf against a junction at 0 degC, to 0.001 mV.
A thermocouple whose wires end at another temperature gives the difference of two printed values (law of intermediate
temperatures, same source).
"""

from __future__ import annotations

import asyncio
from typing import get_args

import pytest

from drivers.board_sentence import BoardSentence
from drivers.points import DeviceMap, Field, Point
from drivers.sentences import Sentence, encode
from supervisor.core.events import Event, Quality, Reading, Scanned
from supervisor.core.setup import Accuracy, ChannelSetup, ThermocoupleSetup
from supervisor.service.clock import Clock, boot_clock_s
from supervisor.service.dispatch import Outbox
from supervisor.service.polling import LinkRunner
from supervisor.service.turns import turns
from supervisor.trade.its90 import Kind
from tests.drivers.text_peer import TextPeer, text_link
from tests.published.its90_spots import SPOTS_MV

PRINTED_MV = 0.0005
"""Half of the last printed digit; two printed values make up each voltage."""

LEAST_MV_PER_C = 0.025
"""Less than any of the five types gives per degC from -20 degC up, by the same tables."""

NEAR_C = 2 * PRINTED_MV / LEAST_MV_PER_C + 0.01


class Board:
    """A board with one thermocouple of a kind, as its wire and the polling bring it."""

    def __init__(self, peer: TextPeer, kind: Kind) -> None:
        points: list[Point] = [
            Field("e", unit="V", low=-0.01, high=0.06, scale=1e-6), Field("cj", unit="degC", low=-20, high=80),
        ]  # fmt: skip
        self._peer = peer
        self._link = text_link(peer.port, time_out_s=0.3)
        device = BoardSentence(self._link, DeviceMap("board", "sentence board", 0, {p.name: p for p in points}, 0.05))
        couple = ThermocoupleSetup(kind, "cj")
        channel = ChannelSetup("bath", "board", "e", "degC", -50.0, 450.0, Accuracy(0, 0), 0.02, 5.0, couple)
        clock = Clock(boot_clock_s, boot_clock_s)
        self._events: asyncio.Queue[Event] = asyncio.Queue()
        runner = LinkRunner(Outbox(), turns({"board": device}, [channel], clock), {}, {}, 1.0, clock)
        self._running = asyncio.create_task(runner.run(self._events.put_nowait, lambda: None, lambda: True))
        self._number = 0

    async def says(self, *fields: str) -> Reading:
        """Let it say one sentence, again while nobody has listened yet; return the reading that comes of it."""
        self._number += 1
        sentence = encode(Sentence("READ", self._number, fields))
        self._peer.say(sentence)
        while True:
            event = await asyncio.wait_for(self._events.get(), 5.0)
            assert isinstance(event, Scanned)
            (reading,) = event.readings
            if reading.quality is not Quality.NO_ANSWER:
                return reading
            self._peer.say(sentence)

    async def close(self) -> None:
        self._running.cancel()
        await asyncio.wait({self._running})
        await self._link.close()


@pytest.mark.parametrize("kind", get_args(Kind))
async def test_a_printed_voltage_from_a_printed_cold_junction_is_read_as_its_printed_temperature(kind: Kind) -> None:
    hot = {at_c: mv for at_c, mv in SPOTS_MV[kind].items() if -20 <= at_c <= 400}
    cold = {at_c: mv for at_c, mv in SPOTS_MV[kind].items() if 0 <= at_c <= 60}
    with TextPeer() as peer:
        board = Board(peer, kind)
        for at_c, mv in hot.items():
            for box_c, box_mv in cold.items():
                reading = await board.says(f"e={1000 * (mv - box_mv):.0f}", f"cj={box_c}")
                assert reading.value == pytest.approx(at_c, abs=NEAR_C), (at_c, box_c)
        await board.close()


async def test_without_its_cold_junction_a_voltage_is_no_temperature() -> None:
    with TextPeer() as peer:
        board = Board(peer, "K")
        assert (await board.says("e=3931", "cj=0")).value == pytest.approx(96.0, abs=NEAR_C)
        reading = await board.says("e=3931")
        assert (reading.quality, reading.value) == (Quality.ABSENT, None)
        await board.close()
