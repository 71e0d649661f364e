"""A probe of devices that speak in text: asked ones, ones that speak by themselves, and what is told of silence."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from drivers.points import DeviceMap, Field, SerialSettings
from drivers.sentences import Sentence, encode
from supervisor.cli.main import main
from supervisor.cli.probe_survey import Asked, Found, survey
from supervisor.cli.probe_table import as_text
from tests.drivers.text_peer import TextPeer, board_map, scpi_map

CONFIG = Path(__file__).parents[2] / "config"

PERIOD_S = 0.03
ANSWERS = {
    "MEAS:CURR?": b"+1.950E+00\n",
    "MEAS:VOLT?": b"15.23\n",
    "OUTP?": b"1\n",
    "STAT:QUES:COND?": b"2\n",
    "CURR?": b"2.5\n",
    "VOLT?": b"22\n",
}

LINK = """[links.lab]
kind = "serial text"
port = "{port}"
speed = "115200 baud"
parity = "none"
stop_bits = 1
response_time_out = "1 s"
"""


def asks(peer: TextPeer, device: DeviceMap) -> list[Asked]:
    settings = SerialSettings("wire", "serial text", 0.05, 0.0, port=peer.port, baud=115200)
    return [Asked(settings, ((device, PERIOD_S),))]


def rows(found: Found) -> dict[str, tuple[str, float | None]]:
    return {row.name: (row.shown, row.value) for row in found.rows}


@asynccontextmanager
async def board_that_says(*pieces: bytes) -> AsyncIterator[TextPeer]:
    """A board that says these in turn, a third of a period apart."""
    with TextPeer() as peer:

        async def speak() -> None:
            for piece in pieces:
                await asyncio.sleep(PERIOD_S / 3)
                peer.say(piece)

        speaking = asyncio.create_task(speak())
        try:
            yield peer
        finally:
            speaking.cancel()


async def test_a_supply_that_is_asked_in_text_shows_every_point_in_words_and_figures() -> None:
    with TextPeer(ANSWERS.get) as peer:
        found = await survey(asks(peer, scpi_map()))
        assert all(line.endswith("?") for line in peer.heard), "only questions are sent"
    assert found.failures == []
    assert rows(found) == {
        "current": ("1.95", 1.95),
        "voltage": ("15.23", 15.23),
        "output": ("on", 1.0),
        "mode": ("current held", 0.0),
        "set_current": ("2.5", 2.5),
        "set_voltage": ("22", 22.0),
    }


async def test_a_silent_device_that_speaks_in_text_has_no_unit_and_no_wires_a_and_b() -> None:
    with TextPeer() as peer:
        found = await survey(asks(peer, scpi_map()))
    (failure,) = found.failures
    assert (failure.kind, failure.device) == ("no answer", "")
    assert failure.text.startswith(f"no answer at all on port {peer.port} from rectifier; ")
    assert "unit" not in failure.text
    assert "wires A and B" not in failure.text


def numbered(first: int, *sentences: tuple[str, ...]) -> list[bytes]:
    return [encode(Sentence("READ", first + at, fields)) for at, fields in enumerate(sentences)]


def small_board(**more: Field) -> DeviceMap:
    board = board_map()
    points = {name: board.points[name] for name in ("t1", "level")}
    return DeviceMap("board", "sentence board", 0, points | more, 0.005)


async def test_a_board_is_listened_to_until_every_point_came() -> None:
    async with board_that_says(*numbered(1, ("t1=20.4",), ("level=1",))) as peer:
        found = await survey(asks(peer, small_board()))
        assert peer.heard == []
    assert found.failures == []
    assert rows(found) == {"t1": ("20.4", 20.4), "level": ("closed", 1.0)}
    assert {row.round_trip_ms for row in found.rows} == {None}
    assert "unasked" in as_text(found)


async def test_a_point_that_a_board_never_tells_is_named_after_a_few_periods() -> None:
    began_s = asyncio.get_running_loop().time()
    fields = [(f"t1={value}", "level=0") for value in range(40)]
    async with board_that_says(*numbered(1, *fields)) as peer:
        found = await survey(asks(peer, small_board(t7=Field("t7", unit="degC"))))
    assert asyncio.get_running_loop().time() - began_s >= 3 * PERIOD_S
    assert rows(found)["level"] == ("open", 0.0)
    (failure,) = found.failures
    assert (failure.device, failure.kind) == ("board", "no answer")
    assert "nothing came of t7; compare the labels" in failure.text


async def test_a_spoilt_sentence_is_told_and_the_next_ones_are_read() -> None:
    good = numbered(1, ("t1=20.4",), ("t1=20.4", "level=1"))
    async with board_that_says(good[0], good[1].replace(b"20.4", b"20.5"), good[1]) as peer:
        found = await survey(asks(peer, small_board()))
    assert set(rows(found)) == {"t1", "level"}
    assert [failure.kind for failure in found.failures] == ["bad answer"]
    assert "its check sum is wrong" in found.failures[0].text


async def test_a_board_that_says_nothing_is_silent() -> None:
    with TextPeer() as peer:
        found = await survey(asks(peer, small_board()))
    assert [(failure.device, failure.kind) for failure in found.failures] == [("", "no answer")]


@pytest.mark.parametrize(("more", "heard"), [([], False), (["--greet"], True)])
async def test_opening_texts_are_only_sent_when_that_is_asked_for(
    more: list[str], heard: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "run"
    folder.mkdir(mode=0o700)
    monkeypatch.setenv("AMPMINDER_RUNTIME", str(folder))
    with TextPeer(ANSWERS.get) as peer:
        path = line_with_lab_supply(tmp_path, peer.port)
        await asyncio.to_thread(main, ["probe", str(path), *more])
        assert ("SYST:REM" in peer.heard) == heard
        assert "MEAS:CURR?" in peer.heard
    note = "Note: rectifier: `SYST:REM` was not sent after opening; --greet sends it"
    assert (note in capsys.readouterr().out) != heard


def line_with_lab_supply(folder: Path, port: str) -> Path:
    """The bench's line with a supply that speaks SCPI at this port; its thermometer's port is missing."""
    text = (CONFIG / "bench-metric.toml").read_text(encoding="utf-8")
    for old, new in {
        "[devices.rectifier]\n": f"{LINK.format(port=port)}\n[devices.rectifier]\n",
        'link = "bus"\nunit = 1\nprofile = "profiles/bench-supply.toml"': (
            'link = "lab"\nprofile = "profiles/lab-supply-scpi.toml"'
        ),
        'rated_current = "10 A"\nrated_voltage = "60 V"': 'rated_current = "6 A"\nrated_voltage = "32 V"',
        'period = "200 ms"': 'period = "2 s"',
        "proof_deadline": "# proof_deadline",
        'off_threshold = "50 mA"': 'proof_deadline = "9 s"\noff_threshold = "50 mA"',
        'role = "supply output"': 'role = "supply output"\nallow_slow_off = true',
        "/dev/ttyUSB0": "nowhere",
        '"profiles/': f'"{CONFIG}/profiles/',
    }.items():
        text = text.replace(old, new)
    path = folder / "line.toml"
    path.write_text(text, encoding="utf-8")
    return path
