"""The socket in its folder: whose it is, who may connect, and what lay in its place before."""

from __future__ import annotations

import asyncio
import os
import socket
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from supervisor.edges.control import ControlError, ControlServer, socket_path
from tests.edges.kit import echo, still_works


async def test_only_owner_and_group_may_connect(path: Path) -> None:
    mask = os.umask(0)
    try:
        async with ControlServer(path, echo):
            mode = os.lstat(path).st_mode
    finally:
        os.umask(mask)
    assert stat.S_ISSOCK(mode)
    assert stat.S_IMODE(mode) == 0o660


async def test_a_socket_left_by_a_dead_process_is_replaced(path: Path) -> None:
    left = socket.socket(socket.AF_UNIX)
    left.bind(str(path))
    left.close()
    async with ControlServer(path, echo):
        await still_works(path)


async def test_the_socket_of_a_live_process_is_left_alone(path: Path) -> None:
    async with ControlServer(path, echo):
        with pytest.raises(ControlError, match="listens at"):
            await ControlServer(path, echo).start()
        await still_works(path)


def test_a_file_in_the_place_of_the_socket_is_not_touched(path: Path) -> None:
    path.write_text("notes")
    with pytest.raises(ControlError, match="is no socket"):
        asyncio.run(ControlServer(path, echo).start())
    assert path.read_text() == "notes"


def test_a_socket_path_the_kernel_cannot_take_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("AMPMINDER_RUNTIME", str(tmp_path / ("deep" * 25)))
    with pytest.raises(ControlError, match="shorter folder"):
        socket_path("demo")


def test_a_line_of_any_name_has_a_socket_in_the_folder(path: Path) -> None:
    names = ["demo", "../../etc", "a/b", "a%2Fb", "Säure 2"]
    paths = {socket_path(name) for name in names}
    assert len(paths) == len(names)
    assert {each.parent for each in paths} == {path.parent}


def test_a_user_outside_owner_and_group_is_told(path: Path) -> None:
    if os.getuid() != 0:
        pytest.skip("only root can try it as somebody else")
    attempt = (
        "import asyncio, os, sys; from pathlib import Path; from supervisor.edges.client import ask\n"
        "os.setgroups([]); os.setgid(65534); os.setuid(65534)\n"
        "try: asyncio.run(ask(Path(sys.argv[1]), 'status', {}))\n"
        "except Exception as problem: print(problem)"
    )

    async def scenario() -> bytes:
        async with ControlServer(path, echo):
            child = await asyncio.create_subprocess_exec(
                sys.executable, "-c", attempt, str(path), stdout=subprocess.PIPE
            )
            out, _ = await child.communicate()
            return out

    assert b"You may not talk to this supervisor" in asyncio.run(scenario())
