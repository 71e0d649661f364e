"""Every driver against every fault of a common list: what came of it, how soon, and whether all was well afterwards.

`python -m tests.campaigns.fault_matrix docs/faults.md` writes the table from a run.
"""

from __future__ import annotations

import asyncio
import sys
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import get_args

from drivers.catalog import build_device, build_link
from drivers.ports import BadAnswer, Device, Link, LinkDown, NoAnswer, Refused, Scan, WireError
from simulators.plan import LinePlan, read_plan
from simulators.server import LineServer, LinkFolder
from tests.campaigns.fault_cells import COLUMNS, Column, Reaction, cells, deadline_s, expected
from tests.campaigns.fault_rows import LINKS, ROWS, Row, beyond, plan_text
from tests.campaigns.figures import Figure, tell
from tests.harness.virtual import InFlight
from tests.harness.virtual_loop import run_virtual, virtual_loop

TRIES_AFTER = 2
"""After a fault the second try at the latest must be good again."""

SETTLES_S = 1.5
"""A cell has settled this long after a set point of its supply changed, s."""

NEAR = 0.02
"""A read is true within this much of the truth, in the value's unit or its share, whichever is more."""

_REACTIONS: dict[type[WireError], Reaction] = {
    NoAnswer: "no answer", BadAnswer: "bad answer", Refused: "refused", LinkDown: "link down",
}  # fmt: skip


LONGEST_S = 30.0
"""Wire time after which a driver that still comes to nothing never will, s."""

STRIKES = {True: 2, False: 12}
"""How often what is chance strikes, in a quick run and in a full one; everything else strikes once."""

SEED = 7


@dataclass(frozen=True, slots=True)
class Cell:
    """What one cell came to.

    Attributes:
        reactions: of the driver, one for each strike. took_s: the longest wire time until one of them, s.
        broken: every rule that did not hold, for people.
    """

    row: Row
    column: Column
    reactions: tuple[Reaction, ...]
    took_s: float
    broken: tuple[str, ...]


def run_matrix(*, quick: bool) -> list[Cell]:
    """Run every cell, each strike on a line of its own and a virtual clock of its own."""
    with tempfile.TemporaryDirectory(prefix="ampm-") as name:
        folder = Path(name)
        plan_file = folder / "matrix.toml"
        plan_file.write_text(plan_text(), encoding="utf-8")
        plan = read_plan(plan_file)
        found = []
        for number, (row, column) in enumerate(cells()):
            strikes = [
                run_virtual(_strike(_alone(plan, row), folder / f"links-{number}-{nth}", row, column, SEED + nth))
                for nth in range(STRIKES[quick] if column.chance else 1)
            ]
            found.append(_together(strikes))
        return found


def _together(strikes: list[Cell]) -> Cell:
    return replace(
        strikes[0],
        reactions=tuple(reaction for one in strikes for reaction in one.reactions),
        took_s=max(one.took_s for one in strikes),
        broken=tuple(dict.fromkeys(text for one in strikes for text in one.broken)),
    )


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


async def _strike(plan: LinePlan, links: Path, row: Row, column: Column, seed: int) -> Cell:
    loop = virtual_loop()
    server = LineServer(plan, now=loop.time, tell=lambda _truth: None, seed=seed)
    server.folder = LinkFolder(links, server.places())
    flight = InFlight(server)
    loop.carriers.append(flight)
    link = build_link(row.settings(server.places(), links), loop.time, flight.trace)
    try:
        return await _Try(server, link, row, column).run()
    finally:
        await link.close()
        server.close()
        server.folder.remove()
        loop.carriers.remove(flight)


class _Try:
    """One driver, one fault: well before, struck, and well again."""

    def __init__(self, server: LineServer, link: Link, row: Row, column: Column) -> None:
        self._server = server
        self._device = build_device(link, row.build())
        self._struck = self._device if column.what else build_device(link, beyond(row.build()))
        self._row = row
        self._column = column
        self._broken: list[str] = []

    async def run(self) -> Cell:
        """Bring the line to where it makes a difference, strike, and look what comes of it."""
        await self._warm_up()
        self._row.before(self._server)
        await asyncio.sleep(SETTLES_S)
        await self._catch_up()
        if self._column.what == "values stuck":
            self._move_the_truth()
        self._begin()
        await asyncio.sleep(0.01)
        began_s = virtual_loop().time()
        reaction = await self._once(self._struck)
        took_s = virtual_loop().time() - began_s
        may_be, until_s = expected(self._row, self._column), deadline_s(self._row, self._column)
        if reaction not in may_be:
            self._broken.append(f"it came to {reaction}, not to {' or '.join(sorted(may_be))}")
        if took_s > until_s:
            self._broken.append(f"it took {took_s:.3f} s, more than {until_s:.3f} s")
        self._end()
        await asyncio.sleep(self._column.lasts_s)
        await self._look_whether_all_is_well()
        return Cell(self._row, self._column, (reaction,), took_s, tuple(self._broken))

    async def _warm_up(self) -> None:
        """Open the link and read once, so that nothing is new to it; what is stuck later is stuck at this."""
        with suppress(WireError):
            await self._device.read(next(iter(self._device.groups)))

    async def _catch_up(self) -> None:
        """Read what a board has said, good or bad, until it has to be waited for."""
        while self._row.kind == "read":
            began_s = virtual_loop().time()
            with suppress(WireError):
                await self._row.do(self._device)
            if not self._device.streams or virtual_loop().time() > began_s:
                return

    async def _look_whether_all_is_well(self) -> None:
        """Do it again; then, if it is a reading, let the truth change: nothing of before may be told any more."""
        if self._device.streams:
            await self._catch_up()
        again = []
        for _ in range(TRIES_AFTER):
            if self._row.kind != "read":
                self._row.before(self._server)  # or what the fault let pass would look like done anew
            again.append(await self._once(self._device))
        if again[-1] != "good":
            self._broken.append(f"afterwards it came to {' and '.join(again)}")
        if self._row.kind == "read":
            self._move_the_truth()
            await asyncio.sleep(SETTLES_S)
            if self._device.streams:
                await self._catch_up()
            later = await self._once(self._device)
            if later != "good":
                self._broken.append(f"after a change it came to {later}")

    def _move_the_truth(self) -> None:
        line = self._server.line
        for supply in line.supplies.values():
            supply.set_current(supply.set_current_a + 1.0)
        for sensor in line.sensors.values():
            sensor.sheath_c += 5.0
        line.baths["acid"].bath_c += 5.0
        for contact in line.contacts.values():
            contact.is_broken = not contact.is_broken

    # -- the fault

    def _begin(self) -> None:
        column = self._column
        if not column.what:
            return
        name = LINKS[self._row.protocol][0]
        target = {"link": name} if column.link else {"device": self._row.device}
        fault = {"fault": {"what": column.what, **target, **column.amounts}}
        if column.after_s:
            self._order({"fault": {"what": "device silent", "device": self._row.device}})
            virtual_loop().call_later(0.01 + column.after_s, self._order, fault)
        else:
            self._order(fault)

    def _end(self) -> None:
        if self._column.after_s:
            self._order({"clear": "device silent"})
        if self._column.what:
            self._order({"clear": self._column.what})

    def _order(self, message: object) -> None:
        problem = self._server.order(message)
        if problem:
            raise RuntimeError(problem)

    # -- what comes of it

    async def _once(self, device: Device) -> Reaction:
        """Do it once; a success that the simulated truth does not bear out is the worst there is."""
        try:
            async with asyncio.timeout(LONGEST_S):
                answer = await self._row.do(device)
        except WireError as error:
            return _REACTIONS[type(error)]
        except TimeoutError:
            raise RuntimeError(f"{self._row.name} never ends under {self._column.name}") from None
        if isinstance(answer, Scan):
            return judged(answer, self._row.true(self._server.line))
        if not self._row.done(self._server):
            self._broken.append("it was confirmed and not carried out")
        return "good"


def judged(scan: Scan, true: dict[str, float]) -> Reaction:
    """What a scan is worth, given what is true of the points that were asked for."""
    for name, value in scan.values.items():
        if name not in true:
            continue
        if value is None or not abs(value - true[name]) <= NEAR * max(1.0, abs(true[name])):
            return "as told"
    return "good" if true.keys() <= scan.values.keys() else "in part"


def tell_broken(found: list[Cell]) -> None:
    """Tell every cell that does not hold, and why."""
    for cell in found:
        if cell.broken:
            tell(f"NOT HELD {cell.row.name} / {cell.column.name}: {'; '.join(cell.broken)}")


def matrix_figures(quick: bool) -> Iterator[Figure]:
    """Run the matrix; every cell must hold."""
    found = run_matrix(quick=quick)
    tell_broken(found)
    held = sum(not cell.broken for cell in found)
    strikes = sum(len(cell.reactions) for cell in found)
    yield Figure("fault_cells", len(found), ">= 150", strikes, SEED, "virtual", timing=False)
    yield Figure("fault_cells_held", held, f">= {len(cells())}", strikes, SEED, "virtual", timing=False)


HEAD = """# What drivers make of faults

Written by `python -m tests.campaigns.fault_matrix docs/faults.md`, from a run of every driver against simulated devices
with every fault of a common list, and only from one in which each cell held. Each cell says what comes of it, and how
soon it came, of how many ms of wire time it may take; where chance decides (which bytes meet which), it says all that
may come of it. `-` means that there is no such fault there.

- **good**: the true values, or the command was carried out and confirmed.
- **in part**: true values, and not all that were asked for.
- **as told**: a value that no byte shows to be wrong; it is handed on, and the supervisor judges it.
- **no answer**, **bad answer**, **refused**, **link down**: an error, never a value. A command that ends so is not
  taken as carried out, even if it was.

After every fault the second try at the latest was good again, a reading followed the next change of the truth, and no
command was ever confirmed that was not carried out. The link's time-out is 150 ms for Modbus and 200 ms for each answer
of SCPI; a board may say nothing for 1 s. To connect anew over TCP may take 1 s more.
"""


def table(found: list[Cell]) -> str:
    """The whole document, from a run in which every cell held; its rows are faults."""
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
    """What may come of it, how soon it came this time, and how soon it must, ms."""
    may_be = [reaction for reaction in get_args(Reaction) if reaction in expected(cell.row, cell.column)]
    took_ms, until_ms = cell.took_s * 1000, deadline_s(cell.row, cell.column) * 1000
    return f"{' or '.join(may_be)}, {took_ms:.0f} of {until_ms:.0f}"


def main(path: Path) -> int:
    """Run every cell and write the table; where one does not hold tell it, write nothing, and return 1."""
    found = run_matrix(quick=False)
    tell_broken(found)
    if any(cell.broken for cell in found):
        return 1
    path.write_text(table(found), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
