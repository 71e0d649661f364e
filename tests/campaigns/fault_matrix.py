"""Every driver against every fault of a common list: what came of it, how soon, and whether all was well afterwards.

`python -m tests.campaigns.fault_matrix docs/faults.md` writes the table from a run.
"""

from __future__ import annotations

import asyncio
import math
import sys
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from drivers.catalog import build_device, build_link
from drivers.ports import BadAnswer, Device, LinkDown, NoAnswer, Refused, Scan, WireError
from simulators.plan import LinePlan, read_plan
from simulators.server import LineServer, LinkFolder
from tests.campaigns.fault_cells import COLUMNS, Column, Reaction, cells, deadline_s, expected
from tests.campaigns.fault_rows import LINKS, ROWS, Row, plan_text
from tests.campaigns.figures import Figure, tell
from tests.harness.virtual import InFlight
from tests.harness.virtual_loop import run_virtual, virtual_loop

TRIES_AFTER = 2
"""After a fault the second try at the latest must be good again."""

NEAR = 0.02
"""A read is true within this much of the truth, in the value's unit or its share, whichever is more."""

_REACTIONS: dict[type[WireError], Reaction] = {
    NoAnswer: "no answer", BadAnswer: "bad answer", Refused: "refused", LinkDown: "link down",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Cell:
    """What one cell came to.

    Attributes:
        reaction: of the driver. took_s: wire time until then, s. broken: every rule that did not hold, for people.
    """

    row: Row
    column: Column
    reaction: Reaction
    took_s: float
    broken: tuple[str, ...]


def run_matrix() -> list[Cell]:
    """Run every cell, each on a line of its own and a virtual clock of its own."""
    with tempfile.TemporaryDirectory(prefix="ampm-") as name:
        folder = Path(name)
        plan_file = folder / "matrix.toml"
        plan_file.write_text(plan_text(), encoding="utf-8")
        plan = read_plan(plan_file)
        found = []
        for number, (row, column) in enumerate(cells()):
            found.append(run_virtual(_cell(_alone(plan, row), folder / f"links-{number}", row, column)))
        return found


def _alone(plan: LinePlan, row: Row) -> LinePlan:
    """The line with nothing but the row's own link: what others say would keep the clock from jumping."""
    link, _ = LINKS[row.protocol]
    return replace(
        plan,
        links={link: plan.links[link]},
        devices={name: of for name, of in plan.devices.items() if of.link == link},
        scpi_supplies={name: of for name, of in plan.scpi_supplies.items() if of.link == link},
        boards={name: of for name, of in plan.boards.items() if of.link == link},
    )


async def _cell(plan: LinePlan, links: Path, row: Row, column: Column) -> Cell:
    loop = virtual_loop()
    server = LineServer(plan, now=loop.time, tell=lambda _truth: None, seed=7)
    server.folder = LinkFolder(links, server.places())
    flight = InFlight(server)
    loop.carriers.append(flight)
    link = build_link(row.settings(server.places(), links), loop.time, flight.trace)
    device = build_device(link, row.build())
    try:
        return await _Try(server, device, row, column).run()
    finally:
        await link.close()
        server.close()
        server.folder.remove()
        loop.carriers.remove(flight)


class _Try:
    """One driver, one fault: well before, struck, and well again."""

    def __init__(self, server: LineServer, device: Device, row: Row, column: Column) -> None:
        self._server = server
        self._device = device
        self._row = row
        self._column = column
        self._broken: list[str] = []

    async def run(self) -> Cell:
        """Bring the line to where it makes a difference, strike, and look what comes of it."""
        await self._warm_up()
        self._row.before(self._server.line)
        await asyncio.sleep(1.5)  # a cell settles
        await self._catch_up()
        if self._column.what == "values stuck":
            self._move_the_truth()
        self._strike(begins=True)
        await asyncio.sleep(0.01)
        began_s = virtual_loop().time()
        reaction = await self._once()
        took_s = virtual_loop().time() - began_s
        if reaction not in expected(self._row, self._column):
            self._broken.append(
                f"it came to {reaction}, not to {' or '.join(sorted(expected(self._row, self._column)))}"
            )
        if took_s > deadline_s(self._row, self._column):
            self._broken.append(f"it took {took_s:.3f} s, more than {deadline_s(self._row, self._column):.3f} s")
        self._strike(begins=False)
        await asyncio.sleep(self._column.lasts_s)
        await self._hear_out()
        again = [await self._once() for _ in range(TRIES_AFTER)]
        if again[-1] != "good":
            self._broken.append(f"afterwards it came to {' and '.join(again)}")
        return Cell(self._row, self._column, reaction, took_s, tuple(self._broken))

    async def _warm_up(self) -> None:
        """Open the link and read once, so that nothing is new to it; what is stuck later is stuck at this."""
        with suppress(WireError):
            await self._device.read(next(iter(self._device.groups)))

    async def _catch_up(self) -> None:
        """Read what there is to read before the fault: a board's earlier sentences wait for whoever wants them."""
        while self._row.kind == "read":
            began_s = virtual_loop().time()
            await self._row.do(self._device)
            if not self._device.streams or virtual_loop().time() > began_s:
                return

    async def _hear_out(self) -> None:
        """What a board said while the fault stood waits yet; read it, good or bad."""
        while self._device.streams and self._row.kind == "read":
            began_s = virtual_loop().time()
            with suppress(WireError):
                await self._row.do(self._device)
            if virtual_loop().time() > began_s:
                return

    def _move_the_truth(self) -> None:
        line = self._server.line
        for supply in line.supplies.values():
            supply.set_current(2.5)
        for sensor in line.sensors.values():
            sensor.sheath_c += 5.0
        line.baths["acid"].bath_c += 5.0
        for contact in line.contacts.values():
            contact.is_broken = True

    def _strike(self, *, begins: bool) -> None:
        column = self._column
        if not begins:
            problem = self._server.order({"clear": column.what})
        else:
            name = LINKS[self._row.protocol][0]
            target = {"link": name} if column.link else {"device": self._row.device}
            problem = self._server.order({"fault": {"what": column.what, **target, **column.amounts}})
        assert not problem, problem

    async def _once(self) -> Reaction:
        """Do it once; a success that the simulated truth does not bear out is the worst there is."""
        try:
            answer = await self._row.do(self._device)
        except WireError as error:
            return _REACTIONS[type(error)]
        if isinstance(answer, Scan):
            return self._judge(answer)
        if not self._row.done(self._server):
            self._broken.append("it was confirmed and not carried out")
        return "good"

    def _judge(self, scan: Scan) -> Reaction:
        true = self._row.true(self._server.line)
        near = all(
            value is not None and math.isfinite(value) and abs(value - true[name]) <= NEAR * max(1.0, abs(true[name]))
            for name, value in scan.values.items()
            if name in true
        )
        return "good" if near else "as told"


def matrix_figures() -> Iterator[Figure]:
    """Run the matrix; every cell must hold."""
    found = run_matrix()
    for cell in found:
        if cell.broken:
            tell(f"NOT HELD {cell.row.name} / {cell.column.name}: {'; '.join(cell.broken)}")
    held = sum(not cell.broken for cell in found)
    yield Figure("fault_cells", len(found), ">= 150", len(found), 7, "virtual", timing=False)
    yield Figure("fault_cells_held", held, f">= {len(found)}", len(found), 7, "virtual", timing=False)


HEAD = """# What drivers make of faults

Written by `python -m tests.campaigns.fault_matrix docs/faults.md`, from a run of every driver against simulated devices
with every fault of a common list. Each cell says what came of it and how soon, in ms of wire time; where chance decides
(which bytes meet which), it says all that may come of it. `-` means that there is no such fault there.

- **good**: the true value, or the command was carried out and confirmed.
- **as told**: a value that no byte shows to be wrong; it is handed on, and the supervisor judges it.
- **no answer**, **bad answer**, **refused**, **link down**: an error, never a value. A command that ends so is not
  taken as carried out, even if it was.

After every fault the second try at the latest was good again, and no command was ever confirmed that was not carried
out. The link's time-out is 150 ms for Modbus and 200 ms for each answer of SCPI; a board may say nothing for 1 s.
"""


def table(found: list[Cell]) -> str:
    """The whole document: rows are faults, since there are fewer drivers' doings than a page is wide."""
    by_place = {(cell.row.name, cell.column.name): cell for cell in found}
    parts = [HEAD]
    for protocol in dict.fromkeys(row.protocol for row in ROWS):
        rows = [row for row in ROWS if row.protocol == protocol]
        parts.append(f"\n## {protocol}\n")
        parts.append("| fault | " + " | ".join(f"{row.driver}: {row.what}" for row in rows) + " |")
        parts.append("|---" * (len(rows) + 1) + "|")
        for column in COLUMNS:
            cells_of = [by_place.get((row.name, column.name)) for row in rows]
            if any(cells_of):
                shown = [_shown(cell) if cell else "-" for cell in cells_of]
                parts.append(f"| {column.name} | " + " | ".join(shown) + " |")
    return "\n".join(parts) + "\n"


def _shown(cell: Cell) -> str:
    """What may come of it, and how soon it came this time, ms."""
    if cell.broken:
        return f"NOT HELD: {cell.reaction}"
    return f"{' or '.join(sorted(expected(cell.row, cell.column)))}, {cell.took_s * 1000:.0f}"


def main(path: Path) -> int:
    """Write the table; 1 where a cell does not hold."""
    found = run_matrix()
    path.write_text(table(found), encoding="utf-8")
    for cell in found:
        if cell.broken:
            print(f"NOT HELD {cell.row.name} / {cell.column.name}: {'; '.join(cell.broken)}", file=sys.stderr)
    return 1 if any(cell.broken for cell in found) else 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
