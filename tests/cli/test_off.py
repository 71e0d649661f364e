"""`off` when the way to the port is disputed: it is tried all the same, in bounded time."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Iterator

import pytest

from supervisor.cli import off as command
from supervisor.cli.off import off
from supervisor.service.app import port_names
from supervisor.service.holder import AlreadyHeldError, Held, Holder, HolderError, hold
from tests.harness.lines import Files, short_folder, write_files
from tests.harness.wire import simulators


@pytest.fixture
def files() -> Iterator[Files]:
    with short_folder() as folder:
        yield write_files(folder)


def refused(*_names: object, **_record: object) -> Held:
    raise AlreadyHeldError([Holder("port", 0, 0, "", "", "", "")])


def test_off_is_sent_though_the_lock_is_taken_again_and_again(files: Files, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(command, "hold", refused)
    with simulators(files) as simulated:
        assert off(files.line, as_json=False) == 0
        assert simulated.told("output")[-1]["on"] is False


def test_a_holder_that_may_not_be_ended_does_not_keep_off_from_being_tried(
    files: Files, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def forbidden(_holder: Holder, _term_s: float, _kill_s: float) -> None:
        raise HolderError("You may not end process 1.")

    monkeypatch.setattr(command, "end_holder", forbidden)
    with simulators(files) as simulated:
        names = port_names(files.load())
        with hold(names, line="demo", line_file=files.line, wall_s=0.0):
            began_s = time.monotonic()
            assert off(files.line, as_json=False) == 0
            assert time.monotonic() - began_s < 3.0
        assert simulated.told("output")[-1]["on"] is False
    assert "You may not end process 1." in capsys.readouterr().out


def test_a_supervisor_that_goes_while_it_is_asked_is_not_waited_for(
    files: Files, monkeypatch: pytest.MonkeyPatch
) -> None:
    ended: list[Holder] = []
    monkeypatch.setattr(command, "end_holder", lambda holder, *_times: ended.append(holder))
    held = hold(port_names(files.load()), line="demo", line_file=files.line, wall_s=0.0)

    async def scenario() -> float:
        asyncio.get_running_loop().call_later(0.1, held.release)
        began_s = time.monotonic()
        await command._by_running(files.load(), [])
        return time.monotonic() - began_s

    assert asyncio.run(scenario()) < 0.8
