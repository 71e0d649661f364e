"""Where the control socket of these tests lies."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from supervisor.edges.control import socket_path

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("AMPMINDER_RUNTIME", str(tmp_path))
    return socket_path("demo")
