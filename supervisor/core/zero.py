"""The zero of a current meter, read with the output proven off before each operation.

What a meter shows then is its own error, since nothing flows: more than its manual allows means that it is not what the
charge interval takes it for (R5).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from supervisor.core.actions import Note
from supervisor.core.setup import LineSetup, SupplySetup

if TYPE_CHECKING:
    from supervisor.core.state import LineState
    from supervisor.core.work import Work

ROUNDING_A = 1e-9


def against(setup: LineSetup, state: LineState, supply: SupplySetup, what: str) -> str:
    """Why the meter's zero forbids a start or restart; "" where it does not, or where another rule says why not."""
    latest = state.channels.get(supply.current)
    proven = state.supplies[supply.name].output.proven_off
    if what == "on" or latest is None or latest.reading.value is None or not proven:
        return ""
    most_a = setup.channels[supply.current].accuracy.absolute
    if abs(latest.reading.value) <= most_a + ROUNDING_A:
        return ""
    return (
        f"meter at zero: the meter of {supply.name} shows {latest.reading.value:.4g} A with the output off; its own "
        f"limit of error is {most_a:.4g} A there. Look for a current from elsewhere, then zero or calibrate the meter."
    )


def note(work: Work, name: str) -> None:
    """Put the zero into the record of an operation that begins."""
    supply = work.supply_setup(name)
    latest = work.state.channels.get(supply.current)
    if latest is None or latest.reading.value is None:
        return
    shown_a = latest.reading.value
    text = f"{name}: its meter showed {shown_a:.4g} A with the output off, within its limit of error."
    work.actions.append(Note("output", name, text, {"zero_a": repr(shown_a)}))
