"""The publisher of a line: its line file's [mqtt] table, its clock and its status put together."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any
from uuid import uuid4

from supervisor.config.broker import MqttTable, read_password
from supervisor.config.load import LineFile
from supervisor.config.setup import line_setup
from supervisor.core.possible import possible_alarms
from supervisor.edges.mqtt import Broker, Publisher
from supervisor.edges.payloads import Reporter
from supervisor.service.clock import Clock


def make_publisher(line: LineFile, table: MqttTable, clock: Clock, status: Callable[[], dict[str, Any]]) -> Publisher:
    """Make the publisher; it begins with its start. `status` tells how the line stands."""
    host, port = table.place
    broker = Broker(
        host=host,
        port=port,
        client=table.client or f"ampminder-{line.name}",
        tls=table.tls,
        ca_file=None if table.ca_file is None else line.folder / table.ca_file,
        user=table.user,
        password=partial(read_password, table, line.folder),
    )
    return Publisher(broker, Reporter(line.name, uuid4().hex, clock.instant, status, possible_alarms(line_setup(line))))
