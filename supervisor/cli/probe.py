"""The command `probe`: read every device of a line, once or until Ctrl-C, and tell what is wrong. It never writes."""

from __future__ import annotations

import asyncio
import json
from dataclasses import asdict, replace
from pathlib import Path

from drivers.points import DeviceMap
from supervisor.cli.probe_ports import ports_to_probe
from supervisor.cli.probe_survey import Asked, survey
from supervisor.cli.probe_table import VERSION, as_object, as_text
from supervisor.config.load import LineFile, load_line
from supervisor.config.mistakes import LineMistakes
from supervisor.config.setup import device_maps, link_settings
from supervisor.service.app import port_names


def probe(path: Path, as_json: bool, *, watching: bool = False, greet: bool = False) -> int:
    """Read every point of every device of a line file once, and print it; or every channel again and again.

    Args:
        path: the line file.
        as_json: for programs.
        watching: again and again, until Ctrl-C.
        greet: send the texts that a profile wants sent after opening; without it nothing but questions is sent.

    Returns the exit code: 0 when all is well, 1 when anything failed, 2 when the line file has mistakes.
    Raises HolderError where somebody else has a port.
    """
    try:
        line = load_line(path)
    except LineMistakes as wrong:
        mistakes = [asdict(mistake) for mistake in wrong.mistakes]
        print(json.dumps({"version": VERSION, "mistakes": mistakes}) if as_json else wrong)
        return 2
    maps = {name: of if greet else replace(of, opening=()) for name, of in device_maps(line).items()}
    with ports_to_probe(port_names(line), line=line.name, line_file=line.path):
        if watching:
            # It draws on a screen; its library is loaded only when it is asked for.
            from supervisor.cli.probe_watch import watch_channels  # noqa: PLC0415

            return watch_channels(line, maps, as_json=as_json)
        return _once(line, maps, as_json=as_json)


def _once(line: LineFile, maps: dict[str, DeviceMap], *, as_json: bool) -> int:
    tables = line.document.devices
    links = [
        Asked(
            settings,
            tuple(
                (maps[device], max([table.period, *table.periods.values()]))
                for device, table in tables.items()
                if table.link == name
            ),
        )
        for name, settings in link_settings(line).items()
    ]
    found = asyncio.run(survey(links))
    found.notes += [
        f"{name}: {' and '.join(f'`{text}`' for text in full.opening)} was not sent after opening; --greet sends it"
        for name, full in device_maps(line).items()
        if full.opening != maps[name].opening
    ]
    print(as_object(found) if as_json else as_text(found))
    return 1 if found.failures else 0
