"""Wires to plain numbers: one file per wire library, nothing of tanks, loads or alarms."""
