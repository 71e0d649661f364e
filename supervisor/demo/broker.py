"""The demo's own MQTT broker: a process of its own on a free port of this computer. A real line has its own broker.

python -m supervisor.demo.broker PORT
"""

from __future__ import annotations

import asyncio
import importlib.util
import logging
import os
import signal
import socket
import sys
import tomllib
from asyncio.subprocess import DEVNULL, Process
from contextlib import suppress
from pathlib import Path

HOST = "127.0.0.1"
READY_S = 15.0
"""Wire time in which it must take connections; a slow machine needs two or three seconds."""

TRIES = 3
"""Another program may take the port that was free a moment ago."""

MISSING = (
    "The package amqtt, the demo's own MQTT broker, is not installed, so nothing is published here"
    " (pip install 'ampminder[demo]'); the demo goes on without."
)


class DemoBroker:
    """One broker that can be killed and started again at the same port."""

    def __init__(self, log: Path) -> None:
        """`log` is where its words go."""
        self.port = 0
        self._log = log
        self._process: Process | None = None

    async def start(self) -> bool:
        """Start it and wait until it takes connections; says whether it does."""
        for _ in range(TRIES):
            port = self.port or _free_port()
            with self._log.open("ab") as log:
                self._process = await asyncio.create_subprocess_exec(
                    sys.executable, "-m", "supervisor.demo.broker", f"{port}", stdin=DEVNULL, stdout=DEVNULL,
                    stderr=log, cwd=Path(__file__).parents[2], env={**os.environ, "PYTHONUNBUFFERED": "1"},
                    process_group=0,  # as the demo's other processes: Ctrl-C reaches the demo alone
                )  # fmt: skip
            try:
                if await _takes_connections(self._process, port):
                    self.port = port
                    return True
            except asyncio.CancelledError:
                await self.kill()
                raise
            await self.kill()
        return False

    async def kill(self) -> None:
        """End it as a power cut would: nobody is told, and it forgets everything. Harmless where it is gone."""
        if self._process is not None:
            with suppress(ProcessLookupError):
                self._process.kill()
            await self._process.wait()


async def bring_broker(line_file: Path, log: Path) -> tuple[DemoBroker | None, str]:
    """Start a broker for a line file that names none, and name it there; return it, and what to tell a person."""
    named = _named(line_file)
    if named is not None:
        return None, f"What happens is published at the broker that the line file names, {named}."
    if importlib.util.find_spec("amqtt") is None:
        return None, MISSING
    broker = DemoBroker(log)
    if not await broker.start():
        return None, f"The demo's own MQTT broker did not start, so nothing is published; why: {log}"
    _name(line_file, broker.port)
    return broker, f"Look on from another terminal: mosquitto_sub -t 'ampminder/#' -v -p {broker.port}"


def _named(line_file: Path) -> str | None:
    """Return the host of the broker that a line file names; None where it names none."""
    mqtt = tomllib.loads(line_file.read_text(encoding="utf-8")).get("mqtt")
    return None if mqtt is None else str(mqtt.get("host"))


def _name(line_file: Path, port: int) -> None:
    with line_file.open("a", encoding="utf-8") as file:
        file.write(f'\n# The demo\'s own broker.\n[mqtt]\nhost = "{HOST}"\nport = {port}\n')


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        port: int = probe.getsockname()[1]
        return port


async def _takes_connections(process: Process, port: int) -> bool:
    with suppress(TimeoutError):
        async with asyncio.timeout(READY_S):
            while process.returncode is None:
                with suppress(OSError):
                    _, writer = await asyncio.open_connection(HOST, port)
                    writer.close()
                    return process.returncode is None
                await asyncio.sleep(0.05)
    return False


async def _serve(port: int) -> None:
    """Run the broker until SIGTERM."""
    from amqtt.broker import Broker  # noqa: PLC0415 - the rest of this file does without

    logging.basicConfig(level=logging.ERROR)
    broker = Broker({
        "listeners": {"default": {"type": "tcp", "bind": f"{HOST}:{port}"}},
        "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
    })  # fmt: skip
    await broker.start()
    told = asyncio.Event()
    asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, told.set)
    await told.wait()
    await broker.shutdown()


if __name__ == "__main__":
    asyncio.run(_serve(int(sys.argv[1])))
