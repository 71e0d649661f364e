"""A mosquitto process for tests, and mosquitto_sub as a subscriber of another make."""

from __future__ import annotations

import json
import shutil
import socket
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

TRIES = 5
STARTS_WITHIN_S = 10.0

T = TypeVar("T")


def program(name: str) -> str:
    """Return the path of a program, also of one that lies where only root looks. Fails where it is not installed."""
    found = shutil.which(name) or shutil.which(name, path="/usr/sbin:/usr/local/sbin")
    assert found, f"{name} is not installed: apt install mosquitto mosquitto-clients"
    return found


def free_port() -> int:
    """Return a port nobody listens at now: mosquitto cannot choose one itself."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@contextmanager
def mosquitto(*lines: str, port: int | None = None) -> Iterator[tuple[subprocess.Popen[str], int]]:
    """Run a broker until the block ends; give its process and port. `lines` go into its configuration file."""
    with tempfile.TemporaryDirectory(prefix="ampm-") as folder:
        process, port = _started(Path(folder), lines or ("allow_anonymous true",), port)
        try:
            yield process, port
        finally:
            process.terminate()
            process.wait(STARTS_WITHIN_S)


def _started(folder: Path, lines: tuple[str, ...], wanted: int | None) -> tuple[subprocess.Popen[str], int]:
    """Start it at a free port; another program may have taken that one meanwhile, so try again."""
    for _ in range(TRIES):
        port = wanted or free_port()
        settings = folder / "mosquitto.conf"
        settings.write_text("\n".join((f"listener {port} 127.0.0.1", "persistence false", "user root", *lines, "")))
        with (folder / "log").open("w") as log:
            process = subprocess.Popen([program("mosquitto"), "-c", str(settings)], stderr=log, text=True)
        if _listens(process, port):
            return process, port
        process.kill()
        process.wait()
    raise AssertionError(f"mosquitto does not start: {(folder / 'log').read_text()[-500:]}")


def _listens(process: subprocess.Popen[str], port: int) -> bool:
    ends_s = time.monotonic() + STARTS_WITHIN_S
    while process.poll() is None and time.monotonic() < ends_s:
        try:
            socket.create_connection(("127.0.0.1", port), 1.0).close()
        except OSError:
            time.sleep(0.02)
        else:
            return process.poll() is None
    return False


@dataclass
class Seen:
    """What mosquitto_sub printed: when it came, topic, retained or not, QoS, payload."""

    messages: list[tuple[float, str, bool, int, str]] = field(default_factory=list)

    def of(self, topic: str) -> list[Any]:
        """Payloads of one topic, oldest first; None for an empty one."""
        return [json.loads(text) if text else None for _, t, _, _, text in list(self.messages) if t == topic]

    def newest(self, topic: str) -> dict[str, Any]:
        """The newest payload of a topic; empty while there is none."""
        return dict((self.of(topic) or [{}])[-1] or {})


@contextmanager
def mosquitto_sub(port: int, *options: str) -> Iterator[Seen]:
    """Subscribe to everything until the block ends."""
    seen = Seen()
    command = [program("mosquitto_sub"), "-h", "127.0.0.1", "-p", f"{port}", "-t", "ampminder/#", "-q", "1"]
    with subprocess.Popen([*command, "-F", "%t\t%r\t%q\t%p", *options], stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        reader = threading.Thread(target=_read, args=(process.stdout, seen), daemon=True)
        reader.start()
        try:
            yield seen
        finally:
            process.terminate()
            reader.join(STARTS_WITHIN_S)


def _read(lines: Any, seen: Seen) -> None:
    for line in lines:
        topic, retained, qos, payload = line.rstrip("\n").split("\t", 3)
        seen.messages.append((time.monotonic(), topic, retained == "1", int(qos), payload))


def until(holds: Callable[[], T], within_s: float = 15.0) -> T:
    """Wait until something is true; return it. Fails after this time, s."""
    ends_s = time.monotonic() + within_s
    while not (found := holds()):
        assert time.monotonic() < ends_s, f"not within {within_s:g} s"
        time.sleep(0.02)
    return found
