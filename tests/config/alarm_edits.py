"""Example line files, and places in them, for tests of what a line file says of alarms."""

from __future__ import annotations

BOTH, CORNER, KNOBS = "acid-and-seal.toml", "scpi-and-board.toml", "knob-supply.toml"
CHANGE = "[interlocks.agitation-lost]\ndelay"
FAN = 'role = "fan"\ndevice = "relays"\npoint = "k10"\nsafe = "on" '
PANEL = '[devices.panel]\nlink = "network"\nunit = 2\nprofile = "profiles/relay-board.toml"\nperiod = "250 ms"\n\n'
