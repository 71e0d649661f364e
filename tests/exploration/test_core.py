"""Two plain supplies under random events: the rules hold after every step, whatever comes in whatever order."""

from __future__ import annotations

from dataclasses import replace

from supervisor.core.setup import LineSetup
from tests.core.plain import line_setup
from tests.exploration.machine import AS_LONG, Machine


def two_supplies() -> LineSetup:
    setup = line_setup(2)
    side = replace(setup.supplies["side"], device_time_out_s=5.0)
    return replace(setup, supplies={**setup.supplies, "side": side})


class TwoSupplies(Machine):
    SETUP = two_supplies()


TwoSupplies.TestCase.settings = AS_LONG
TestTwoSupplies = TwoSupplies.TestCase
