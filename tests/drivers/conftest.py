"""Scripted peers and links to them, for every test that wants them: registers, and lines of text."""

from __future__ import annotations

from collections.abc import AsyncIterator

import pytest

from drivers.board_sentence import BoardSentence
from drivers.modbus_rtu import RtuLink
from drivers.text_link import TextLink
from tests.drivers.peer import Peer, link_to
from tests.drivers.text_peer import TextPeer, board_map, text_link


@pytest.fixture
async def peer() -> AsyncIterator[Peer]:
    with Peer() as far:
        yield far


@pytest.fixture
async def link(peer: Peer) -> AsyncIterator[RtuLink]:
    near = link_to(peer)
    yield near
    await near.close()


@pytest.fixture
async def far() -> AsyncIterator[TextPeer]:
    with TextPeer() as peer:
        yield peer


@pytest.fixture
async def near(far: TextPeer) -> AsyncIterator[TextLink]:
    link = text_link(far.port)
    yield link
    await link.close()


@pytest.fixture
def board(near: TextLink) -> BoardSentence:
    return BoardSentence(near, board_map())
