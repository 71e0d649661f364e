"""A handler for tests, and ways to talk to the control socket that no client of ours would use."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from supervisor.edges.client import ask
from supervisor.edges.control import Answer, Peer, Refusal


async def echo(kind: str, body: dict[str, Any], peer: Peer) -> Answer | AsyncIterator[Answer]:
    """Says what came in; a few kinds do something else."""
    if kind == "unknown":
        raise Refusal("There is no such request.", "Nor was there ever one.")
    if kind == "broken":
        raise TimeoutError("inside the handler")
    if kind == "not a number":
        return {"value": float("nan")}
    if kind == "watch":
        return counting(body)
    return {"kind": kind, "body": body, "user": peer.user, "pid": peer.pid}


async def counting(body: dict[str, Any]) -> AsyncIterator[Answer]:
    for number in range(body["count"]):
        yield {"number": number, "filling": "x" * body.get("size", 0)}
        await asyncio.sleep(0)
    if body.get("fail"):
        raise ArithmeticError("no more")


@asynccontextmanager
async def raw(path: Path, limit: int = 2**20) -> AsyncIterator[tuple[asyncio.StreamReader, asyncio.StreamWriter]]:
    reader, writer = await asyncio.open_unix_connection(path, limit=limit)
    try:
        async with asyncio.timeout(10):
            yield reader, writer
    finally:
        writer.transport.abort()


async def say(path: Path, content: bytes, *, end: bool = True) -> list[Answer]:
    """Send bytes and return every line that comes back until the server ends the connection."""
    async with raw(path) as (reader, writer):
        writer.write(content)
        if end:
            writer.write_eof()
        return [json.loads(line) async for line in reader]


def is_there(path: Path) -> bool:
    return path.exists()


async def still_works(path: Path) -> None:
    assert (await ask(path, "status", {"a": 1}))["body"] == {"a": 1}
