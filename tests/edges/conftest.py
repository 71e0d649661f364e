"""Where the control socket of these tests lies."""

from __future__ import annotations

from pathlib import Path

import pytest

from supervisor.edges.control import socket_path


@pytest.fixture
def path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("AMPMINDER_RUNTIME", str(tmp_path))
    return socket_path("demo")
