"""What is no line file at all is refused in one plain sentence; nothing crashes."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from supervisor.config.load import load_line
from supervisor.config.mistakes import LineMistakes
from tests.config.conftest import PLAIN, Written, mistakes_in, told

CONTENTS = [
    (b"", "is empty"),
    (b"version = 1\n\xff\xfe", "not UTF-8 at byte 12"),
    (b"version = 1\nline = = 2\n", "line 2"),
    (b'version = 1\nversion = "again"\n', "line 2"),
    (b"version = " + b"9" * 5000, "not TOML"),
    (b"a = " + b"[" * 5000, "not TOML"),
    (b"#" * 1_000_001, "1000001 bytes"),
    (b"\x00\x01\x02", "not TOML"),
]


@pytest.mark.parametrize(("content", "problem"), CONTENTS)
def test_content_that_is_no_toml_is_told(tmp_path: Path, content: bytes, problem: str) -> None:
    path = tmp_path / "line.toml"
    path.write_bytes(content)
    (mistake,) = mistakes_in(path)
    assert problem in mistake.problem
    assert mistake.right


def test_a_missing_file_a_folder_and_a_pipe_are_told(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for name, problem in (("missing", "there is no file"), (".", "not a plain file"), ("pipe", "not a plain file")):
        (mistake,) = mistakes_in(tmp_path / name)
        assert problem in mistake.problem


def test_a_name_too_long_for_the_disk_is_told(tmp_path: Path) -> None:
    (mistake,) = mistakes_in(tmp_path / ("x" * 5000))
    assert "cannot be read" in mistake.problem


def test_a_byte_order_mark_does_no_harm(written: Written) -> None:
    path = written()
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert load_line(path).name == "demo"


def test_an_empty_table_of_tables_is_told(written: Written) -> None:
    path = written()
    path.write_text("version = 1\nlinks = {}\ndevices = {}\n", encoding="utf-8")
    mistakes = told(path)
    assert mistakes["links"].problem == "there are no links"
    assert mistakes["line"].problem == "this key is missing"


VALUES = st.recursive(
    st.sampled_from(
        ["true", "nan", "-inf", "1e400", "-1", "99999999999999999999", '""', '"8"', "1979-05-27", '"é % {x}"']
    ),
    lambda inner: (
        st.lists(inner, max_size=2).map(lambda v: f"[{', '.join(v)}]") | inner.map(lambda v: f"{{ a = {v} }}")
    ),
    max_leaves=3,
)
LINES = (PLAIN).read_text(encoding="utf-8").splitlines()
KEYS = [place for place, line in enumerate(LINES) if " = " in line and not line.startswith("#")]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.dictionaries(st.sampled_from(KEYS), VALUES, min_size=1, max_size=8))
def test_any_values_anywhere_are_told_or_taken_and_never_a_crash(written: Written, spoilt: dict[int, str]) -> None:
    path = written()
    lines = [f"{line.split(' = ')[0]} = {spoilt[i]}" if i in spoilt else line for i, line in enumerate(LINES)]
    path.write_text("\n".join(lines), encoding="utf-8")
    loads_or_tells(path)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sets(st.integers(0, len(LINES) - 1), min_size=1, max_size=20))
def test_any_lines_missing_are_told_or_taken_and_never_a_crash(written: Written, gone: set[int]) -> None:
    path = written()
    path.write_text("\n".join(line for i, line in enumerate(LINES) if i not in gone), encoding="utf-8")
    loads_or_tells(path)


def loads_or_tells(path: Path) -> None:
    try:
        assert load_line(path).profiles
    except LineMistakes as wrong:
        assert all(mistake.problem and mistake.right for mistake in wrong.mistakes)  # noqa: PT017 (either is right)


def test_a_profile_that_is_not_utf_8_is_told_with_its_path(written: Written) -> None:
    path = written()
    (path.parent / "profiles" / "bench-supply.toml").write_bytes(b"name = '\xe9'")
    (mistake,) = mistakes_in(path)
    assert mistake.key_path == "profiles/bench-supply.toml: (file)"
    assert "not UTF-8 at byte 8" in mistake.problem
