"""What a running supervisor has loaded: nothing that draws, computes on arrays, shows the demo or simulates."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator

import pytest

from supervisor.edges.control import socket_path
from tests.harness.lines import Files, short_folder, write_files
from tests.harness.wire import simulators, until

RUN_AND_TELL = """
import json, sys
from supervisor.cli.main import main
code = main(["run", sys.argv[1]])
print(json.dumps({"code": code, "modules": sorted(sys.modules)}))
"""

NEVER = {"rich", "pygments", "numpy", "matplotlib", "simulators", "tests", "supervisor.demo", "supervisor.cli.watch"}
NEVER |= {"aiomqtt", "paho", "amqtt"}  # the first two only where the line file names a broker


@pytest.fixture
def files() -> Iterator[Files]:
    with short_folder() as folder:
        yield write_files(folder)


def test_the_service_loads_nothing_that_it_does_without(files: Files) -> None:
    with (
        simulators(files),
        subprocess.Popen(
            [sys.executable, "-c", RUN_AND_TELL, str(files.line)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        ) as running,
    ):
        until(socket_path("demo").exists, 10.0)
        os.kill(running.pid, signal.SIGTERM)
        out, log = running.communicate(timeout=10.0)
    told = json.loads(out.splitlines()[-1])
    assert told["code"] == 0, log
    assert "pymodbus" in told["modules"]
    assert NEVER.isdisjoint(told["modules"])
