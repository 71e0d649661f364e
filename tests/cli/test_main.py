"""`main`: why nothing was done, told to a person in words and to a program in the object it waits for."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from supervisor.cli.main import main

NO_LINE_FILE = (["status", "--line"], ["watch", "--line"], ["off"])


@pytest.mark.parametrize("command", NO_LINE_FILE)
def test_a_line_file_that_cannot_be_used_is_told_to_a_program_as_an_object(
    command: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*command, str(tmp_path / "none.toml"), "--json"]) == 2
    told = capsys.readouterr()
    answer = json.loads(told.out)
    assert (answer["version"], answer["ok"]) == (1, False)
    assert any("there is no file" in reason for reason in answer["reasons"])
    assert "there is no file" in told.err


def test_a_journal_that_cannot_be_read_is_told_to_a_program_as_an_object(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["replay", str(tmp_path / "none.journal"), "--json"]) == 1
    answer = json.loads(capsys.readouterr().out)
    assert (answer["version"], answer["ok"]) == (1, False)
    assert "cannot be read" in answer["reasons"][0]


def test_a_file_that_is_no_journal_is_told_as_that(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "line.toml").write_text("version = 1  # a line file, say\n" * 9, encoding="utf-8")
    assert main(["replay", str(tmp_path / "line.toml")]) == 1
    assert "not a database" in capsys.readouterr().err


def test_without_json_a_person_reads_words_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["status", "--line", str(tmp_path / "none.toml")]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert "there is no file" in told.err
