"""A driver for an invented thermometer: asked `T?` it answers `T=20.56`, or `T=` while its probe is off."""

from __future__ import annotations

import re
from collections.abc import Collection

from drivers.catalog import Driver
from drivers.points import DeviceMap, Field, SerialSettings
from drivers.ports import BadAnswer, Scan, Times
from drivers.text_link import TextLink


class PlainThermometer:
    """Asks for one point at a time, by its label in the profile or else its name."""

    streams = False

    def __init__(self, link: TextLink, device_map: DeviceMap) -> None:
        self.name = device_map.name
        self.groups = tuple(frozenset({name}) for name in device_map.points)
        self._link = link
        self._map = device_map

    async def read(self, due: Collection[str]) -> Scan:
        """Ask for one point."""
        (name,) = due
        label = _label(self._map, name)
        answer = await self._link.ask(f"{label}?")
        found = re.fullmatch(rf"{re.escape(label)}=(-?\d+\.\d+)?", answer.text)
        if found is None:
            raise BadAnswer(f"{self.name} answered `{answer.text}` where `{label}=` and a number were due")
        value = None if found[1] is None else float(found[1])
        return Scan({name: value}, {name: ()}, answer.t_sent_s, answer.t_received_s)


def times(settings: SerialSettings, device_map: DeviceMap) -> Times:
    """Question and answer at ten bits a character, the worst answer time and the silence after it."""
    characters = max(2 * len(_label(device_map, name)) + 13 for name in device_map.points)
    longest_s = characters * 10 / settings.baud + device_map.worst_answer_s + device_map.quiet_s
    return Times(longest_s, longest_s)


def _label(device_map: DeviceMap, name: str) -> str:
    point = device_map.points[name]
    return (point.label if isinstance(point, Field) else "") or name


DRIVER = Driver("plain thermometer", "module", frozenset({"serial text"}), Field, PlainThermometer, times)
