"""What a line lacks that would make it safer, in plain words: told by `check` and at every start."""

from __future__ import annotations

from collections.abc import Iterator

from supervisor.config.fitted_watch import around_tank, of_additions, of_outputs, of_signals
from supervisor.config.load import LineFile
from supervisor.config.model import SupplyTable
from supervisor.units import show


def not_fitted(line: LineFile) -> tuple[str, ...]:
    """One sentence or two for everything that is not fitted: what, what follows, what to do."""
    told: list[str] = []
    for name, supply in line.document.supplies.items():
        told += _of_remote(name, supply, line) if supply.control == "remote" else _of_knobs(name, supply)
        told += around_tank(supply.tank, line)
    told += [*of_outputs(line), *of_signals(line), *of_additions(line)]
    for name, profile in line.profiles.items():
        drives = sorted(o for o, output in line.document.outputs.items() if output.device == name)
        if drives and profile.role == "module" and profile.timing.keep is None:
            told.append(
                f"Device {name} keeps its outputs ({', '.join(drives)}) as they are if this computer or the wire dies: "
                "do not leave alone what must not stay so."
            )
    return tuple(told)


def _of_remote(name: str, supply: SupplyTable, line: LineFile) -> Iterator[str]:
    if supply.contactor is None:
        yield (
            f"Supply {name} has no second means of switching off. If off cannot be proven, only cutting the mains "
            "ends the current: keep its switch within reach."
        )
    if "time_out" not in line.profiles[supply.device].points:
        yield (
            f"Supply {name} has no communication time-out of its own. If this computer or the wire dies, the "
            "output stays as it was: do not leave a load alone."
        )
    elif supply.device_time_out is None:
        yield (
            f"Supply {name} has a communication time-out, but it is not used. If this computer or the wire dies, "
            f"the output stays as it was: set supplies.{name}.device_time_out."
        )
    if not {"uptime", "restarted"} & line.profiles[supply.device].points.keys():
        yield (
            f"Supply {name} does not tell since when it has power: a mains dip shorter than the time between its "
            "readings can pass unseen."
        )


def _of_knobs(name: str, supply: SupplyTable) -> Iterator[str]:
    """What R3, off first and off last, does to a run made by hand is told plainly: nobody expects it."""
    if supply.control == "contactor":
        yield (
            f"Supply {name} has knobs only: its current is what you turn it to, and its contactor is all that can end "
            "it. Every start and end of the supervisor opens the contactor, also with --watch-only (at its start): "
            "a run made by hand ends then."
        )
    else:
        yield (
            f"Supply {name} has knobs only and no contactor: nothing here can switch it off. At the target and at "
            "every alarm the supervisor tells you, and you switch it off; its start and end leave a run made by hand "
            "as it is. Do not leave a load alone."
        )


def fitted_time_outs(line: LineFile) -> dict[str, str]:
    """For people: after how long without traffic each supply that can switches itself off."""
    supplies = line.document.supplies.items()
    return {name: show(s.device_time_out, "time", "metric") for name, s in supplies if s.device_time_out is not None}
