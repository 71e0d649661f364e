"""Bringing back the run before: from what was recorded alone, and never at the cost of what lies on the disk now."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from supervisor.core.events import Instant, Started
from supervisor.service.restore import make_line, profile_texts
from tests.harness.lines import Files, write_files

PROFILE = "profiles/bench-supply.toml"


def absolute(files: Files) -> str:
    return str(files.folder / PROFILE)


def beside(_files: Files) -> str:
    return "../shared/bench-supply.toml"


@pytest.mark.parametrize("named", [absolute, beside])
def test_a_profile_that_was_changed_since_is_neither_read_nor_overwritten(
    named: Callable[[Files], str], tmp_path: Path
) -> None:
    files = write_files(tmp_path / "line")
    name = named(files)
    files.line.write_text(files.line.read_text().replace(PROFILE, name))
    profile = files.folder / name
    profile.parent.mkdir(exist_ok=True)
    profile.write_text((files.folder / PROFILE).read_text())
    line = files.load()
    text, profiles = files.line.read_text(), profile_texts(line)
    profile.write_text("changed since")
    made = make_line(text, profiles, 1.0, None)
    made.step(Started(Instant(0.0, 0.0, 0.0), "boot", "1", line.line_hash, watch_only=False))
    assert profile.read_text() == "changed since"


def test_the_recorded_texts_make_the_same_setup_as_the_files_did(tmp_path: Path) -> None:
    files = write_files(tmp_path)
    line = files.load()
    from_files = make_line(files.line.read_text(), profile_texts(line), 60.0, None)
    elsewhere = write_files(tmp_path / "elsewhere")
    assert from_files.setup == make_line(elsewhere.line.read_text(), profile_texts(elsewhere.load()), 60.0, None).setup
    assert from_files.setup.supplies["main"].rated_current_a == 10.0
