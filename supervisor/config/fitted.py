"""What a line lacks that would make it safer, in plain words: told by `check` and at every start."""

from __future__ import annotations

from supervisor.config.load import LineFile
from supervisor.units import show


def not_fitted(line: LineFile) -> tuple[str, ...]:
    """One sentence or two for everything that is not fitted: what, what follows, what to do."""
    told = []
    for name, supply in line.document.supplies.items():
        told.append(
            f"Supply {name} has no second means of switching off. If off cannot be proven, only cutting the mains "
            "ends the current: keep its switch within reach."
        )
        if "time_out" not in line.profiles[supply.device].points:
            told.append(
                f"Supply {name} has no communication time-out of its own. If this computer or the wire dies, the "
                "output stays as it was: do not leave a load alone."
            )
        elif supply.device_time_out is None:
            told.append(
                f"Supply {name} has a communication time-out, but it is not used. If this computer or the wire dies, "
                f"the output stays as it was: set supplies.{name}.device_time_out."
            )
    return tuple(told)


def fitted_time_outs(line: LineFile) -> dict[str, str]:
    """For people: after how long without traffic each supply that can switches itself off."""
    supplies = line.document.supplies.items()
    return {name: show(s.device_time_out, "time", "metric") for name, s in supplies if s.device_time_out is not None}
