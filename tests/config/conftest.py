"""Line files to break: a plain one, or an example, with one thing or many things changed."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from supervisor.config.load import load_line
from supervisor.config.mistakes import LineMistakes, Mistake

CONFIG = Path(__file__).parents[2] / "config"
PLAIN = Path(__file__).parents[1] / "harness" / "plain-line.toml"
"""A line with one supply and one thermometer on one bus."""

Edit = tuple[str, str]
Written = Callable[..., Path]


@pytest.fixture
def written(tmp_path: Path) -> Written:
    """Write a line file with texts replaced, beside a copy of its profiles; `profile` edits the supply's."""

    def write(*edits: Edit, profile: tuple[Edit, ...] = (), base: str | Path = PLAIN) -> Path:
        shutil.copytree(CONFIG / "profiles", tmp_path / "profiles", dirs_exist_ok=True)
        supply = tmp_path / "profiles" / "bench-supply.toml"
        supply.write_text(edited(supply.read_text(encoding="utf-8"), profile), encoding="utf-8")
        path = tmp_path / "line.toml"
        path.write_text(edited((CONFIG / base).read_text(encoding="utf-8"), edits), encoding="utf-8")
        return path

    return write


def edited(text: str, edits: tuple[Edit, ...]) -> str:
    for old, new in edits:
        assert text.count(old) >= 1, f"nothing to replace: {old}"
        text = text.replace(old, new, 1)
    return text


def mistakes_in(path: Path) -> tuple[Mistake, ...]:
    with pytest.raises(LineMistakes) as caught:
        load_line(path)
    return caught.value.mistakes


def told(path: Path) -> dict[str, Mistake]:
    return {mistake.key_path: mistake for mistake in mistakes_in(path)}


def assert_told(path: Path, key_path: str, problem: str, right: str) -> None:
    """Hold a line file to one of its mistakes: where it is, what is wrong, what is right."""
    mistakes = told(path)
    assert key_path in mistakes, mistakes
    assert problem in mistakes[key_path].problem
    assert right in mistakes[key_path].right
