"""Mutants: which there are of a piece of source, which there must not be, and that their names stay."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.campaigns.mutants import Mutant, mutants

MODULE = "thing/gate.py"


def made(root: Path, source: str) -> list[Mutant]:
    (root / "thing").mkdir(exist_ok=True)
    (root / MODULE).write_text(source, encoding="utf-8")
    return mutants(root, MODULE)


def changes(root: Path, source: str) -> set[str]:
    """What the mutants of a source are, without the names of module and place."""
    return {mutant.id.split(": ", 2)[2] for mutant in made(root, source)}


@pytest.mark.parametrize(
    ("source", "there"),
    [
        ("def f(a, b):\n    return a >= b\n", {"return a >= b -> return a > b", "return a >= b -> return a < b"}),
        ("x = a == b\n", {"x = a == b -> x = a != b"}),
        ("x = a and b\n", {"x = a and b -> x = a or b", "x = a and b -> x = a", "x = a and b -> x = b"}),
        ("x = not a\n", {"x = not a -> x = a"}),
        ("x = a + 1\n", {"x = a + 1 -> x = a - 1", "x = a + 1 -> x = a + 2"}),
        ("x = True\n", {"x = True -> x = False"}),
        ("x = [n for n in a if n]\n", {"x = [n for n in a if n] -> x = [n for n in a if not n]"}),
        ("x = min(a, b)\n", {"x = min(a, b) -> x = max(a, b)"}),
        ("x = {a, b}\n", {"x = {a, b} -> x = {b}", "x = {a, b} -> x = {a}"}),
        ("x = {a: b}\n", {"x = {a: b} -> x = {}"}),
        ("x = replace(a, b=c)\n", {"x = replace(a, b=c) -> x = replace(a)"}),
        ("def f(a):\n    g(a)\n", {"g(a) -> nothing"}),
        ("def f(a):\n    a.b = c\n", {"a.b = c -> nothing"}),
        ("def f(a):\n    a = c\n", {"a = c -> nothing"}),
        ("def f(a):\n    if a:\n        return\n    b(a)\n", {"a -> not a", "return -> nothing", "b(a) -> nothing"}),
        ("def f(a) -> int | None:\n    return a\n", {"return a -> return None"}),
        ("def f(a) -> bool:\n    return a\n", {"return a -> return not a"}),
        ("def f(a):\n    a += b\n", {"a += b -> nothing", "a += b -> a -= b"}),
    ],
)
def test_what_can_be_wrong_in_a_piece_of_source(tmp_path: Path, source: str, there: set[str]) -> None:
    assert changes(tmp_path, source) == there


@pytest.mark.parametrize(
    "source",
    [
        '"""A gate.\n\nIt opens."""\n',
        'x = "Check the cooling; let the bath warm."\n',
        'x = f"{a} is {b + 1}"\n',
        "@dataclass(frozen=True)\nclass C:\n    x: Literal['a', 'b']\n",
        "Kind = Literal['a', 'b']\n",
        "class Side(StrEnum):\n    LEFT = 'left'\n",
        "def f(a):\n    b = a\n",  # without it the name is not there
        "x = float('inf')\n",
        "x = print(file=a)\n",  # an error, not another rule
    ],
)
def test_texts_types_and_what_could_not_run_are_left_alone(tmp_path: Path, source: str) -> None:
    assert changes(tmp_path, source) == set()


def test_each_cell_of_a_table_is_a_place_of_its_own(tmp_path: Path) -> None:
    source = """
from enum import StrEnum
class Side(StrEnum):
    LEFT = "left"
    RIGHT = "right"
_S = Side
LONG = "a sentence that makes the table longer than what is shown of a piece of source, as tables are"
TABLE = {
    _S.LEFT: row(_S.RIGHT, "Look at the gate.", LONG),
    _S.RIGHT: row(_S.LEFT, "Look up.", "left", LONG),
}
"""
    assert [mutant.id for mutant in made(tmp_path, source)] == [
        "gate: TABLE: _S.LEFT -> nothing",
        "gate: TABLE: _S.RIGHT -> nothing",
        "gate: TABLE[_S.LEFT]: row(_S.RIGHT, 'Look at the gate.', LONG) -> row(_S.LEFT, 'Look at the gate.', LONG)",
        "gate: TABLE[_S.RIGHT]: row(_S.LEFT, 'Look up.', 'left', LONG) -> row(_S.RIGHT, 'Look up.', 'left', LONG)",
        "gate: TABLE[_S.RIGHT]: row(_S.LEFT, 'Look up.', 'left', LONG) -> row(_S.LEFT, 'Look up.', 'not-left', LONG)",
    ]


def test_an_enumeration_of_another_module_is_known(tmp_path: Path) -> None:
    (tmp_path / "thing").mkdir()
    (tmp_path / "thing" / "side.py").write_text("class Side(Enum):\n    LEFT = 1\n    RIGHT = 2\n", encoding="utf-8")
    assert changes(tmp_path, "from thing.side import Side\nx = Side.RIGHT\n") == {"x = Side.RIGHT -> x = Side.LEFT"}
    assert changes(tmp_path, "from thing import side\nx = side.Side.LEFT\n") == {
        "x = side.Side.LEFT -> x = side.Side.RIGHT"
    }


def test_a_name_stays_when_lines_move_and_equal_ones_are_told_apart(tmp_path: Path) -> None:
    source = "def f(a):\n    if a > b:\n        g(µ)\n    if a > b:\n        h()\n"
    names = [mutant.id for mutant in made(tmp_path, source)]
    assert "gate: f: a > b -> a >= b" in names
    assert "gate: f: a > b -> a >= b (2)" in names
    assert len(set(names)) == len(names)
    moved = "# A word before.\n\n\n" + source.replace("g(µ)", "g(µ)  # and after")
    assert [mutant.id for mutant in made(tmp_path, moved)] == names


def test_a_mutant_is_the_module_with_one_thing_changed(tmp_path: Path) -> None:
    source = "def f(a):\n    µ = 'µ' if (\n        a > b  # why\n    ) else c\n    return µ\n"
    first = made(tmp_path, source)[0]
    assert first.source == source.replace("a > b", "(a >= b)")
    assert first.lines == (2, 4)


def test_a_statement_nobody_has_thought_of_is_an_error_and_not_passed_over(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"Line 1: .* With"):
        made(tmp_path, "with a:\n    b()\n")
