"""What the pace of a supply's readings means for the stop: what changes between two of them is seen late."""

from __future__ import annotations

from dataclasses import dataclass

from supervisor.config.load import LineFile
from supervisor.config.off_delay import longest_exchange_s
from supervisor.config.setup import line_setup
from supervisor.config.wire import View, links_of


@dataclass(frozen=True, slots=True)
class StopEffect:
    """One supply's.

    Attributes:
        period_s: between two readings of its current, s. late_s: after which a change of the current is known at the
            latest: a period and one exchange, s.
        thickness_um: what grows meanwhile at the line's density: so far off may a stop be, um.
    """

    period_s: float
    late_s: float
    thickness_um: float


def stop_effects(line: LineFile) -> dict[str, StopEffect]:
    """The effect of each supply's readings on its stop, by supply.

    While the current holds still a stop does not hang on the pace: it is predicted. A current that changes right after
    a reading is counted as it was until the next.
    """
    setup, effects = line_setup(line), {}
    rate_um_per_s = setup.growth.best_um_m2_per_c * setup.anodize.density_a_per_m2
    on_link = {
        device.name: (settings, device)
        for settings, devices in links_of(View(line.folder, line.document, line.profiles, {})).values()
        for device in devices
    }
    for name, supply in setup.supplies.items():
        period_s = setup.channels[supply.current].period_s
        late_s = period_s + longest_exchange_s(*on_link[supply.device])
        effects[name] = StopEffect(period_s, late_s, rate_um_per_s * late_s)
    return effects
