"""A scripted peer and a link to it, for every test that wants them."""

from __future__ import annotations

from collections.abc import AsyncIterator

import pytest

from drivers.modbus_rtu import RtuLink
from tests.drivers.peer import Peer, link_to


@pytest.fixture
async def peer() -> AsyncIterator[Peer]:
    with Peer() as far:
        yield far


@pytest.fixture
async def link(peer: Peer) -> AsyncIterator[RtuLink]:
    near = link_to(peer)
    yield near
    await near.close()
