"""The fault matrix: the committed table is whole and current, and a driver that lies is found out."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from drivers.ports import Device, NoAnswer, Scan, Sent
from drivers.registers import Register
from tests.campaigns import fault_matrix
from tests.campaigns.fault_cells import COLUMNS, Column, Reaction, cells
from tests.campaigns.fault_matrix import Cell, judged, main, matrix_figures, run_matrix, table
from tests.campaigns.fault_rows import ROWS, Row, beyond

TABLE = Path(__file__).parents[2] / "docs" / "faults.md"
TOOK = re.compile(r", (\d+) of (\d+)")

Only = Callable[[Row, Column], list[Cell]]


def one(row_name: str, column_name: str) -> tuple[Row, Column]:
    row = next(row for row in ROWS if row.name == row_name)
    return row, next(column for column in COLUMNS if column.name == column_name)


@pytest.fixture
def only(monkeypatch: pytest.MonkeyPatch) -> Only:
    """Runs one cell alone."""

    def run(row: Row, column: Column) -> list[Cell]:
        monkeypatch.setattr(fault_matrix, "cells", lambda: [(row, column)])
        return run_matrix(quick=True)

    return run


def test_the_committed_table_is_of_what_is_held_to() -> None:
    held = [Cell(row, column, (), 0.0, ()) for row, column in cells()]
    assert TOOK.sub(r", \2", TABLE.read_text(encoding="utf-8")) == TOOK.sub(r", \2", table(held)), (
        "write it anew: python -m tests.campaigns.fault_matrix docs/faults.md"
    )


def test_the_committed_times_keep_their_deadlines() -> None:
    times = [(int(took), int(until)) for took, until in TOOK.findall(TABLE.read_text(encoding="utf-8"))]
    assert len(times) == len(cells())
    assert all(took <= until for took, until in times)


def test_every_driver_of_the_project_meets_every_kind_of_fault_it_can_have() -> None:
    assert len(cells()) >= 150
    assert {row.driver for row, _ in cells()} == {row.driver for row in ROWS}
    assert {column.name for _, column in cells()} == {column.name for column in COLUMNS}


@pytest.mark.parametrize("column", ["answer dropped", "a bit flipped", "unplugged meanwhile"])
def test_every_driver_holds_under_the_commonest_faults(column: str, monkeypatch: pytest.MonkeyPatch) -> None:
    some = [(row, of) for row, of in cells() if of.name == column]
    monkeypatch.setattr(fault_matrix, "cells", lambda: some)
    assert {cell.row.name: cell.broken for cell in run_matrix(quick=True) if cell.broken} == {}


def test_a_driver_that_confirms_what_was_not_carried_out_does_not_hold(only: Only) -> None:
    row, column = one("modbus supply, RTU: off", "request dropped")

    async def lies(_device: Device) -> Sent:
        return Sent(0.0, 0.0)

    (cell,) = only(replace(row, do=lies), column)
    assert "it was confirmed and not carried out" in cell.broken


def test_a_driver_that_lies_only_after_the_fault_does_not_hold(only: Only) -> None:
    row, column = one("modbus supply, RTU: off", "answer dropped")
    tries: list[Device] = []

    async def lies(device: Device) -> Sent:
        tries.append(device)
        if len(tries) == 1:
            await row.do(device)
        return Sent(0.0, 0.0)

    (cell,) = only(replace(row, do=lies), column)
    assert cell.broken == ("it was confirmed and not carried out",)


def test_a_driver_that_tells_old_values_after_the_fault_does_not_hold(only: Only) -> None:
    row, column = one("modbus module, TCP: numbers", "answer dropped")
    kept: list[Scan] = []

    async def remembers(device: Device) -> Scan:
        scan = await row.do(device)
        assert isinstance(scan, Scan)
        kept.append(scan)
        return kept[0]

    (cell,) = only(replace(row, do=remembers), column)
    assert cell.broken == ("after a change it came to as told",)


def test_a_driver_that_stays_broken_does_not_hold(only: Only) -> None:
    row, column = one("modbus module, RTU: relay", "answer dropped")

    async def gives_up(_device: Device) -> Sent:
        raise NoAnswer

    (cell,) = only(replace(row, do=gives_up), column)
    assert cell.broken == ("afterwards it came to no answer and no answer",)


def test_an_answer_that_nobody_expected_or_a_late_one_does_not_hold(only: Only) -> None:
    row, column = one("modbus supply, RTU: off", "request dropped")
    (cell,) = only(replace(row, transactions=0), replace(column, modbus=frozenset[Reaction]({"refused"})))
    assert cell.broken == ("it came to no answer, not to refused", "it took 0.150 s, more than 0.100 s")


def test_what_is_chance_strikes_more_than_once_and_one_bad_strike_breaks_its_cell() -> None:
    row, column = one("modbus supply, RTU: off", "a bit flipped")
    strikes = [Cell(row, column, ("good",), 0.1, ()), Cell(row, column, ("refused",), 0.3, ("so",))]
    assert fault_matrix._together(strikes) == Cell(row, column, ("good", "refused"), 0.3, ("so",))


@pytest.mark.parametrize(
    ("values", "worth"),
    [
        ({"t1": 20.0, "t2": 21.01}, "good"),
        ({"t1": 20.0}, "in part"),
        ({}, "in part"),
        ({"t1": 20.0, "t2": 22.0}, "as told"),
        ({"t1": None, "t2": 21.0}, "as told"),
        ({"t1": float("nan"), "t2": 21.0}, "as told"),
    ],
)
def test_a_reading_is_good_only_with_every_value_and_each_one_true(
    values: dict[str, float | None], worth: Reaction
) -> None:
    assert judged(Scan(values, {}, 0.0, 0.0), {"t1": 20.0, "t2": 21.0}) == worth


def test_a_run_that_does_not_hold_writes_no_table_and_misses_its_figure(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    row, column = one("modbus supply, RTU: off", "request dropped")
    broken = Cell(row, column, ("good",), 0.0, ("it was confirmed and not carried out",))
    monkeypatch.setattr(fault_matrix, "run_matrix", lambda **_: [broken])
    assert main(tmp_path / "faults.md") == 1
    assert not (tmp_path / "faults.md").exists()
    assert "NOT HELD modbus supply, RTU: off / request dropped" in capsys.readouterr().err
    _, held = matrix_figures(quick=True)
    assert not held.ok


def test_what_a_device_has_not_lies_elsewhere() -> None:
    row, _ = one("modbus supply, RTU: off", "what it has not")
    known, moved = row.build().points["switch"], beyond(row.build()).points["switch"]
    assert isinstance(known, Register)
    assert moved == replace(known, address=known.address + 1000)
