"""`ampminder probe FILE --watch`: every channel of a line live, read as the supervisor reads it, until Ctrl-C."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from drivers.catalog import build_device, build_link
from drivers.points import DeviceMap, Point
from drivers.ports import Link
from supervisor.cli.probe_live import Live, Seen, live_for
from supervisor.cli.probe_survey import word_of
from supervisor.config.load import LineFile
from supervisor.config.points import UNIT_KINDS
from supervisor.config.setup import line_setup, link_settings
from supervisor.core.events import Event, Reading, Scanned
from supervisor.core.setup import ChannelSetup
from supervisor.service.clock import Clock
from supervisor.service.dispatch import Outbox
from supervisor.service.polling import LinkRunner
from supervisor.service.turns import turns
from supervisor.units import System, show

SHOWS_EVERY_S = 0.25


def watch_channels(line: LineFile, maps: Mapping[str, DeviceMap], *, as_json: bool) -> int:
    """Show every channel until Ctrl-C; 0 then.

    Args:
        line: the line file.
        maps: its devices as they are to be read.
        as_json: one object a line.
    """
    try:
        with live_for(sys.stdout, line.name, as_json=as_json) as live:
            asyncio.run(_watch(line, maps, live))
    except KeyboardInterrupt:
        return 0
    return 0


async def _watch(line: LineFile, maps: Mapping[str, DeviceMap], live: Live) -> None:
    """Read and show until cancelled. What reads has no commands to send and nobody to take them from."""
    clock = Clock()
    links = {name: build_link(settings, clock.now) for name, settings in link_settings(line).items()}
    channels = line_setup(line).channels
    sheet = Sheet(list(channels.values()), {name: of.points for name, of in maps.items()}, line.system)
    try:
        async with asyncio.TaskGroup() as tasks:
            for name, link in links.items():
                runner = _runner(line, name, link, maps, list(channels.values()), clock)
                tasks.create_task(runner.run(sheet.take, lambda: None, lambda: True))
            while True:
                live.show(sheet.rows(clock.now()))
                await asyncio.sleep(SHOWS_EVERY_S)
    finally:
        for link in links.values():
            await link.close()


def _runner(
    line: LineFile, name: str, link: Link, maps: Mapping[str, DeviceMap], channels: Sequence[ChannelSetup], clock: Clock
) -> LinkRunner:
    tables = line.document.devices
    devices = {device: build_device(link, of) for device, of in maps.items() if tables[device].link == name}
    time_out_s = link.settings.response_time_out_s
    return LinkRunner(Outbox(), turns(devices, channels, clock), {}, {}, time_out_s, clock)


@dataclass(slots=True)
class _Last:
    """A channel's last reading, and when it was last good, wire time, s."""

    reading: Reading | None = None
    good_s: float | None = None


class Sheet:
    """What was read last of every channel, in words."""

    def __init__(
        self, channels: Sequence[ChannelSetup], points: Mapping[str, Mapping[str, Point]], system: System
    ) -> None:
        """`points` by device and name."""
        self._channels = channels
        self._points = points
        self._system = system
        self._last = {channel.name: _Last() for channel in channels}

    def take(self, event: Event) -> None:
        """Keep what a scan read."""
        assert isinstance(event, Scanned)
        for reading in event.readings:
            last = self._last[reading.channel]
            last.reading = reading
            if reading.value is not None:
                last.good_s = event.t_received_s

    def rows(self, now_s: float) -> list[Seen]:
        """Tell how every channel stands at this moment of the wire time, s."""
        return [self._seen(channel, self._last[channel.name], now_s) for channel in self._channels]

    def _seen(self, channel: ChannelSetup, last: _Last, now_s: float) -> Seen:
        reading, age_s = last.reading, None if last.good_s is None else max(0.0, now_s - last.good_s)
        if reading is None:
            return Seen(channel.name, channel.device, None, channel.unit, None, "", "nothing yet", age_s, ())
        word = word_of(self._points[channel.device][channel.point], reading.value)
        shown = "" if reading.value is None else word or self._figure(channel, reading.value)
        quality = reading.quality.value
        return Seen(
            channel.name, channel.device, reading.value, channel.unit, word, shown, quality, age_s, reading.raw
        )  # fmt: skip

    def _figure(self, channel: ChannelSetup, value: float) -> str:
        return show(value, UNIT_KINDS[channel.unit], self._system) if channel.unit else f"{value:g}"
