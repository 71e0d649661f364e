"""Holder locks: never two supervisors on one line, port or journal, and never the wrong process ended."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from supervisor.runtime import RuntimeFolderError, runtime_folder
from supervisor.service import holder
from supervisor.service.holder import AlreadyHeldError, Held, Holder, HolderError, end_holder, hold, holder_of

HOLDS = """
import signal, sys, time
from pathlib import Path
from supervisor.service.holder import HolderError, hold
if sys.argv[1] == "deaf":
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
try:
    held = hold(sys.argv[2:], line="demo", line_file=Path("demo.toml"), wall_s=1_790_000_000.0)
except HolderError as problem:
    print("refused:", problem, flush=True)
    raise SystemExit(1)
print("held", flush=True)
sys.stdin.read()
"""


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(holder, "_BETWEEN_TRIES_S", 0.001)
    monkeypatch.setenv("AMPMINDER_RUNTIME", str(tmp_path / "runtime"))
    return tmp_path / "runtime"


def start(*names: str, way: str = "plain") -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", HOLDS, way, *names], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )


@contextmanager
def running(*names: str, way: str = "plain") -> Iterator[subprocess.Popen[str]]:
    """A process that holds these names until it is left."""
    with start(*names, way=way) as child:
        assert child.stdout is not None
        try:
            assert child.stdout.readline() == "held\n"
            yield child
        finally:
            child.kill()


def hold_here(*names: str) -> Held:
    return hold(names, line="demo", line_file=Path("demo.toml"), wall_s=1_790_000_000.0)


def test_a_second_supervisor_is_refused_with_the_name_of_the_first() -> None:
    with running("line-demo") as child, pytest.raises(AlreadyHeldError) as refused:
        hold_here("line-demo")
    told = str(refused.value)
    assert f"process {child.pid} " in told
    assert "running line demo" in told
    assert str(Path("demo.toml").absolute()) in told
    assert "since 2026-09-21T" in told
    assert refused.value.holders[0].user in told


def test_all_names_in_use_are_told_together() -> None:
    with running("line-a"), running("port-b"), pytest.raises(AlreadyHeldError) as refused:
        hold_here("journal-c", "line-a", "port-b")
    assert [each.name for each in refused.value.holders] == ["line-a", "port-b"]


def test_one_name_in_use_leaves_the_others_free() -> None:
    with running("port-b"):
        with pytest.raises(AlreadyHeldError):
            hold_here("line-a", "port-b")
        assert holder_of("line-a") is None
        hold_here("line-a").release()


def test_a_name_is_free_again_after_release() -> None:
    with hold_here("line-demo") as held:
        found = holder_of("line-demo")
        assert found is not None
        assert found.pid == os.getpid()
    assert holder_of("line-demo") is None
    held.release()
    hold_here("line-demo").release()


def test_a_killed_holder_leaves_nothing_held() -> None:
    with running("line-demo") as child:
        child.kill()
        child.wait()
        assert holder_of("line-demo") is None
        hold_here("line-demo").release()


def test_of_many_that_start_at_once_exactly_one_gets_all_names() -> None:
    names = ["line-a", "port-b", "journal-c"]
    children = [start(*names[turn % 3 :], *names[: turn % 3]) for turn in range(6)]
    try:
        answers = [child.stdout.readline() for child in children if child.stdout is not None]
    finally:
        for child in children:
            child.kill()
            child.communicate()
    assert sorted(answer.split()[0] for answer in answers) == ["held", *["refused:"] * 5]


@pytest.mark.parametrize(
    "content", [b"", b'{"pid": 1', b"[]", b"\xff\x00", b'{"pid": -5, "started_ticks": 0}', b"[" * 9999]
)
def test_a_half_written_record_of_a_live_holder_is_told_without_a_crash(folder: Path, content: bytes) -> None:
    with running("line-demo"):
        (folder / "line-demo.lock").write_bytes(content)
        with pytest.raises(AlreadyHeldError, match="left no readable record"):
            hold_here("line-demo")
        found = holder_of("line-demo")
        assert found is not None
        with pytest.raises(HolderError, match="cannot be ended from here"):
            end_holder(found, 0, 1)


def test_an_old_record_without_a_lock_holds_nothing(folder: Path) -> None:
    with hold_here("line-demo"):
        pass
    assert json.loads((folder / "line-demo.lock").read_bytes())["pid"] == os.getpid()
    assert holder_of("line-demo") is None


def test_a_name_never_held_has_no_holder() -> None:
    assert holder_of("line-none") is None


def test_ending_a_holder_frees_its_names_at_once() -> None:
    with running("line-demo", way="deaf") as child:
        found = holder_of("line-demo")
        assert found is not None
        end_holder(found, 0, 5)
        assert holder_of("line-demo") is None
        assert child.wait() == -9


def test_a_holder_that_obeys_is_not_killed() -> None:
    with running("line-demo") as child:
        found = holder_of("line-demo")
        assert found is not None
        end_holder(found, 5, 5)
        assert child.wait() == -15


def test_a_holder_that_does_not_obey_is_killed() -> None:
    with running("line-demo", way="deaf") as child:
        found = holder_of("line-demo")
        assert found is not None
        end_holder(found, 0.01, 5)
        assert child.wait() == -9


def test_a_process_that_got_the_number_later_is_never_ended() -> None:
    with running("line-demo") as child:
        found = holder_of("line-demo")
        assert found is not None
        former = Holder("line-demo", found.pid, found.started_ticks - 1, "", "", "", "")
        end_holder(former, 1, 1)
        assert child.poll() is None


def test_ending_a_holder_that_is_gone_does_nothing() -> None:
    with running("line-demo") as child:
        found = holder_of("line-demo")
        child.kill()
        child.wait()
    assert found is not None
    end_holder(found, 0, 1)


def test_a_link_in_the_place_of_a_lock_is_not_followed(folder: Path, tmp_path: Path) -> None:
    victim = tmp_path / "victim"
    victim.write_text("precious")
    folder.mkdir()
    (folder / "line-demo.lock").symlink_to(victim)
    with pytest.raises(HolderError, match="is a link"):
        hold_here("line-demo")
    with pytest.raises(HolderError, match="is a link"):
        holder_of("line-demo")
    assert victim.read_text() == "precious"


def test_a_link_in_the_place_of_the_folder_is_refused(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    folder.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(RuntimeFolderError, match="not a link"):
        hold_here("line-demo")


def test_a_folder_anyone_may_write_to_is_refused(folder: Path) -> None:
    folder.mkdir()
    folder.chmod(0o777)
    with pytest.raises(RuntimeFolderError, match="chmod o-w"):
        hold_here("line-demo")


def test_a_file_in_the_place_of_the_folder_is_told(folder: Path) -> None:
    folder.write_text("")
    with pytest.raises(RuntimeFolderError, match="cannot be used"):
        hold_here("line-demo")


def test_the_folder_is_the_first_one_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "session").mkdir()
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "session"))
    monkeypatch.setenv("RUNTIME_DIRECTORY", f"{tmp_path / 'unit'}:{tmp_path / 'other'}")
    monkeypatch.setattr(tempfile, "gettempdir", lambda: str(tmp_path))
    found = [runtime_folder()]
    for name in ("AMPMINDER_RUNTIME", "RUNTIME_DIRECTORY", "XDG_RUNTIME_DIR"):
        monkeypatch.delenv(name)
        found.append(runtime_folder())
    assert found == [
        tmp_path / "runtime",
        tmp_path / "unit",
        tmp_path / "session" / "ampminder",
        tmp_path / f"ampminder-{os.getuid()}",
    ]
    assert [f"{each.stat().st_mode & 0o777:o}" for each in found] == ["750", "750", "700", "700"]


def test_someone_elses_folder_in_the_common_temporary_folder_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("AMPMINDER_RUNTIME")
    monkeypatch.delenv("RUNTIME_DIRECTORY", raising=False)
    monkeypatch.delenv("XDG_RUNTIME_DIR", raising=False)
    monkeypatch.setattr(tempfile, "gettempdir", lambda: str(tmp_path))
    mine = os.getuid()
    monkeypatch.setattr(os, "getuid", lambda: mine + 1)
    (tmp_path / f"ampminder-{mine + 1}").mkdir()
    with pytest.raises(RuntimeFolderError, match="belongs to someone else"):
        runtime_folder()


def test_every_way_of_writing_a_path_gives_one_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bus").touch()
    (tmp_path / "alias").symlink_to(tmp_path / "bus")
    ways = [Path("bus"), tmp_path / "bus", tmp_path / "x" / ".." / "bus", tmp_path / "alias"]
    assert len({holder.path_name("port", way) for way in ways}) == 1


def test_paths_that_differ_have_names_that_differ_however_long(tmp_path: Path) -> None:
    paths = [
        tmp_path / "a-b",
        tmp_path / "a" / "b",
        tmp_path / "a%2Fb",
        *(tmp_path / ("x" * 200) / end for end in "pq"),
    ]
    names = {holder.path_name("port", path) for path in paths}
    assert len(names) == len(paths)
    for name in names:
        hold_here(name).release()


def test_a_process_name_with_brackets_and_spaces_does_not_hide_its_start(tmp_path: Path) -> None:
    odd = tmp_path / "a) R 1 (b"
    odd.symlink_to("/bin/sleep")
    with subprocess.Popen([str(odd), "60"]) as child:
        plain = holder._started_ticks(os.getpid())
        ticks = holder._started_ticks(child.pid)
        child.kill()
    assert plain is not None
    assert ticks is not None
    assert 0 <= ticks - plain < 100 * 3600
