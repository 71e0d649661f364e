"""The fault matrix: the committed table is whole and current, and a driver that lies is found out."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from drivers.ports import Device, Sent
from tests.campaigns import fault_matrix
from tests.campaigns.fault_cells import COLUMNS, Column, cells
from tests.campaigns.fault_matrix import run_matrix, table
from tests.campaigns.fault_rows import ROWS, Row

TABLE = Path(__file__).parents[2] / "docs" / "faults.md"
TOOK = re.compile(r", \d+ \|")


def one(row_name: str, column_name: str) -> tuple[Row, Column]:
    row = next(row for row in ROWS if row.name == row_name)
    return row, next(column for column in COLUMNS if column.name == column_name)


def test_the_committed_table_says_what_a_run_says_of_every_cell() -> None:
    found = run_matrix()
    broken = [f"{cell.row.name} / {cell.column.name}: {'; '.join(cell.broken)}" for cell in found if cell.broken]
    assert not broken
    said = TOOK.sub(" |", table(found))
    assert said == TOOK.sub(" |", TABLE.read_text(encoding="utf-8")), (
        "write it anew: python -m tests.campaigns.fault_matrix docs/faults.md"
    )


def test_every_driver_of_the_project_meets_every_kind_of_fault_it_can_have() -> None:
    assert len(cells()) >= 150
    assert {row.driver for row, _ in cells()} == {row.driver for row in ROWS}
    assert {column.name for _, column in cells()} == {column.name for column in COLUMNS}


def test_a_driver_that_confirms_what_was_not_carried_out_does_not_hold(monkeypatch: pytest.MonkeyPatch) -> None:
    row, column = one("modbus supply, RTU: off", "request dropped")

    async def lies(_device: Device) -> Sent:
        return Sent(0.0, 0.0)

    monkeypatch.setattr(fault_matrix, "cells", lambda: [(replace(row, do=lies), column)])
    (cell,) = run_matrix()
    assert "it was confirmed and not carried out" in cell.broken


def test_an_answer_that_nobody_expected_does_not_hold(monkeypatch: pytest.MonkeyPatch) -> None:
    row, column = one("modbus supply, RTU: off", "request dropped")
    unlike = replace(column, modbus=frozenset({"refused"}))
    monkeypatch.setattr(fault_matrix, "cells", lambda: [(row, unlike)])
    (cell,) = run_matrix()
    assert any("not to refused" in text for text in cell.broken)
