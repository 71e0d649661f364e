"""Having ports to oneself while they are probed, and a plain refusal where somebody else has them."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from supervisor.service.holder import AlreadyHeldError, Holder, HolderError, hold


class PortsHeldError(HolderError):
    """Somebody else has a port; the text tells who, and what to do first."""


@contextmanager
def ports_to_probe(names: Sequence[str], *, line: str, line_file: Path) -> Iterator[None]:
    """Hold the names of ports for as long as they are probed.

    Args:
        names: as `port_name` gives them.
        line: for the record that others read.
        line_file: for the same.

    Raises PortsHeldError, which names everybody who has one; HolderError where no lock can be made.
    """
    try:
        held = hold(names, line=line, line_file=line_file, wall_s=time.time(), doing="probe")
    except AlreadyHeldError as problem:
        holders = {holder.pid: holder for holder in problem.holders}
        told = "\n".join(_who(holder) for holder in holders.values())
        raise PortsHeldError(f"Nothing was read, because a port is in use.\n{told}") from problem
    with held:
        yield


def _who(holder: Holder) -> str:
    who = f"process {holder.pid} of {holder.user} since {holder.since}" if holder.pid else "a process without a record"
    if holder.doing == "probe":
        return f"Another probe has it: {who}. End that one first."
    if holder.doing == "off":
        return f"`ampminder off` is at work on it: {who}. Try again when that has ended."
    told = f"The supervisor of line {holder.line} has it: {who}."
    return f"{told} `ampminder watch --line {holder.line_file}` shows what it reads; to probe, stop it first."
