"""`ampminder probe --raw`: every mistake in what was typed, what registers may mean, and that nothing is written."""

from __future__ import annotations

import asyncio
import json
import os
import shlex
import tty
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from drivers.catalog import build_link
from drivers.points import LinkKind, SerialSettings
from drivers.registers import WordOrder
from drivers.sentences import Sentence, encode
from supervisor.cli.main import main
from supervisor.cli.raw_registers import ORDERS, Wanted, read_registers, wide
from supervisor.cli.raw_text import listen, question
from supervisor.service.holder import hold, path_name
from tests.drivers.peer import Peer, framed
from tests.drivers.slave import umodbus_slave
from tests.drivers.text_peer import TextPeer

READ_ONLY = {1, 2, 3, 4}


@pytest.fixture(autouse=True)
def _runtime(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "run"
    folder.mkdir(mode=0o700)
    monkeypatch.setenv("AMPMINDER_RUNTIME", str(folder))


@pytest.fixture
def far_end() -> Iterator[tuple[int, str]]:
    """A wire: its far end as a file, to see what is sent, and the port of the near end."""
    master, slave = os.openpty()
    tty.setraw(slave)
    os.set_blocking(master, False)
    yield master, os.ttyname(slave)
    os.close(slave)
    os.close(master)


def refused(typed: str, capsys: pytest.CaptureFixture[str]) -> list[str]:
    """The mistakes that are told of what was typed, which is refused."""
    assert main(["probe", *shlex.split(typed)]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    return captured.err.splitlines()


def raw_settings(port: str, kind: LinkKind) -> SerialSettings:
    return SerialSettings("raw", kind, 0.05, 0.02, port=port, baud=115200)


# -- what was typed


def test_every_mistake_in_what_was_typed_is_told_at_once(capsys: pytest.CaptureFixture[str]) -> None:
    told = refused(
        "--raw /dev/none --speed fast --parity odder --stop-bits 3 --unit 248 --table inputs --count 0 "
        "--time-out 2h --quiet 5 --text VOLT?",
        capsys,
    )
    wrong = ["raw", "time-out", "quiet", "speed", "parity", "stop-bits", "table", "unit", "address", "count"]
    assert sorted(line.split(":")[0] for line in told) == sorted(f"--{name}" for name in wrong)
    assert all(". Right: " in line for line in told)


@pytest.mark.parametrize(
    ("typed", "option", "says"),
    [
        ("", "FILE", "name a line file"),
        ("--unit 3", "--unit", "it belongs to --raw"),
        ("--find", "--find", "it belongs to --raw"),
        ("line.toml --raw /dev/x --text V?", "FILE", "it does not go with --raw"),
        ("--watch --raw /dev/x --text V?", "--watch", "it does not go with --raw"),
        ("--raw", "--raw", "no port is given"),
        ("--raw /dev/x", "--raw", "give one of --table, --text and --listen"),
        ("--raw /dev/x --host h:502 --unit 1 --table coil --address 0", "--host", "a port is given as well"),
        ("--raw --host h:0 --unit 1 --table coil --address 0", "--host", "'h:0' is no host"),
        ("--raw --host h --speed 9600 --table coil --address 0", "--speed", "it belongs to a serial port"),
        ("--raw --host h --text VOLT?", "--host", "asked over a serial port"),
        ("--raw /dev/x --text VOLT? --unit 1", "--unit", "it belongs to --table"),
        ("--raw /dev/x --listen 5 --find", "--find", "it belongs to --table"),
        ("--raw /dev/x --listen 0", "--listen", "no time to listen for"),
        ("--raw /dev/x --unit 1 --table coil --address 65000 --count 1000", "--count", "beyond address 65535"),
        ("--raw /dev/x --unit 1 --table 'input register' --address 0 --count 126", "--count", "at most 125"),
        ("--raw /dev/x --unit 1 --table coil --address 0 --count 2001 --find", "--count", "at most 2000"),
        ("--raw /dev/x --unit 1 --table coil --address 0x1G", "--address", "0 to 65535"),
    ],
)
def test_a_mistake_in_what_was_typed_is_refused_with_its_reason(
    typed: str, option: str, says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert any(line.startswith(f"{option}: ") and says in line for line in refused(typed, capsys))


@pytest.mark.parametrize(
    "text",
    [
        "OUTP ON",
        "OUTP ON;VOLT?",
        "VOLT?;OUTP ON",
        "VOLT 5?",
        "VOLT:5?",
        "VOLT=5?",
        "VOLT?5",
        "OUTP? ;;",
        "?",
        "VOLT?\nOUTP ON",
        "VOLT\u00b5?",
        "*TST?",
        "*cal?",
        "CALibration:ALL?",
        "TEST?",
    ],
)
def test_what_is_no_question_never_leaves(
    text: str, far_end: tuple[int, str], capsys: pytest.CaptureFixture[str]
) -> None:
    master, port = far_end
    told = refused(f"--raw {port} --text {shlex.quote(text)}", capsys)
    assert all(line.startswith("--text: ") for line in told)
    with pytest.raises(BlockingIOError):
        os.read(master, 100)


@pytest.mark.parametrize("text", ["MEAS:CURR?", "*IDN?", "SYST:ERR?", ":MEAS:VOLT? (@1)", "VOLT?;CURR? MAX"])
def test_a_question_leaves_as_it_was_typed(
    text: str, far_end: tuple[int, str], capsys: pytest.CaptureFixture[str]
) -> None:
    master, port = far_end
    assert main(["probe", "--raw", port, "--text", text, "--time-out", "20 ms"]) == 1
    assert os.read(master, 100) == text.encode() + b"\n"
    assert "was not answered within 20 ms" in capsys.readouterr().out


def test_a_port_that_a_supervisor_has_is_not_touched(
    tmp_path: Path, far_end: tuple[int, str], capsys: pytest.CaptureFixture[str]
) -> None:
    master, port = far_end
    name = path_name("port", Path(port))
    with hold([name], line="bench", line_file=tmp_path / "bench.toml", wall_s=0.0):
        assert main(["probe", "--raw", port, "--text", "VOLT?"]) == 1
    told = capsys.readouterr().err
    assert f"The supervisor of line bench has it: process {os.getpid()}" in told
    assert f"`ampminder watch --line {tmp_path}/bench.toml`" in told
    with pytest.raises(BlockingIOError):
        os.read(master, 100)


# -- registers


@pytest.mark.parametrize("order", ORDERS)
def test_two_registers_are_read_in_every_byte_order(order: WordOrder) -> None:
    # The letters as bytes, A the most significant: whatever order they pass in, ABCD comes out.
    passing = order.encode()
    pair = (int.from_bytes(passing[:2]), int.from_bytes(passing[2:]))
    assert wide(pair, "uint32", order) == int.from_bytes(b"ABCD")


def test_two_registers_are_read_in_every_kind() -> None:
    # IEEE 754 binary32: -1.5 is 0xBFC00000 (sign 1, exponent 127, fraction one half).
    pair = (0xBFC0, 0x0000)
    assert wide(pair, "float32", "ABCD") == -1.5
    assert wide(pair, "uint32", "ABCD") == 0xBFC00000
    assert wide(pair, "int32", "ABCD") == 0xBFC00000 - 2**32


def raw_object(typed: str, capsys: pytest.CaptureFixture[str]) -> tuple[int, dict[str, Any]]:
    code = main(["probe", *shlex.split(typed), "--json"])
    return code, json.loads(capsys.readouterr().out)


def test_a_program_gets_every_meaning_of_a_register(capsys: pytest.CaptureFixture[str]) -> None:
    with umodbus_slave({(7, 5): 0xFFF6, (7, 6): 0x7FC0}) as port:
        code, told = raw_object(
            f"--raw {port} --unit 7 --table 'holding register' --address 0x5 --count 2", capsys
        )  # fmt: skip
    assert (code, told["version"], told["requests"], told["refused"], told["failure"]) == (0, 1, 1, [], "")
    first, second = told["registers"]
    assert (first["address"], first["raw"], first["int16"]) == (5, 0xFFF6, -10)
    assert first["with_next"]["uint32"] == {
        order: int(wide((0xFFF6, 0x7FC0), "uint32", order)) for order in ORDERS
    }  # fmt: skip
    assert first["with_next"]["float32"]["CDAB"] is None, "not a number is none for a program"
    assert second["with_next"] == {}


def test_a_search_finds_exactly_the_addresses_that_are_there(capsys: pytest.CaptureFixture[str]) -> None:
    there = {0, 1, 2, 5, 17, 18, 39}
    with umodbus_slave({(1, address): 1 for address in there}) as port:
        code, told = raw_object(
            f"--raw {port} --unit 1 --table 'input register' --address 0 --count 40 --find", capsys
        )  # fmt: skip
    assert code == 0
    assert {register["address"] for register in told["registers"]} == there
    alone = {row["address"] for row in told["refused"] if row["count"] == 1}
    assert alone.isdisjoint(there)
    assert told["requests"] <= 2 * 40 - 1, "no address is asked for twice in parts of one size"


async def test_a_read_that_is_too_long_is_told_from_addresses_that_are_missing() -> None:
    def answer(request: bytes) -> list[tuple[float, bytes]]:
        count = int.from_bytes(request[4:6])
        return [(0.0, framed(1, 0x84, 3) if count > 4 else framed(1, 4, 2 * count, *([0, 9] * count)))]

    with Peer() as peer:
        peer.script.extend([answer] * 20)
        link = build_link(raw_settings(peer.port, "modbus rtu"), asyncio.get_running_loop().time)
        code, told = await read_registers(link, Wanted(1, "input register", 0, 12, find=True), as_json=False)
        await link.close()
    assert code == 0
    assert "readable: 0 to 11" in told
    assert "It refuses to give 6 at once: longest_read = 3" in told
    assert "7 requests, all of them reads" in told
    assert {request[1] for request in peer.requests} == {4}


@pytest.mark.parametrize(
    ("table", "function"), [("coil", 1), ("discrete input", 2), ("holding register", 3), ("input register", 4)]
)
async def test_each_table_is_read_with_its_own_function_and_no_other(table: Any, function: int) -> None:
    assert function in READ_ONLY
    with Peer() as peer:
        peer.answer(framed(1, function, 1, 0b101) if function < 3 else framed(1, function, 6, 0, 1, 0, 0, 0, 1))
        link = build_link(raw_settings(peer.port, "modbus rtu"), asyncio.get_running_loop().time)
        code, told = await read_registers(link, Wanted(1, table, 0x20, 3), as_json=True)
        await link.close()
    assert [request[1] for request in peer.requests] == [function]
    assert (code, [row["raw"] for row in json.loads(told)["registers"]]) == (0, [1, 0, 1])


@pytest.mark.parametrize("code", [1, 6])
async def test_a_refusal_that_parts_would_meet_as_well_is_not_halved(code: int) -> None:
    with Peer() as peer:
        peer.answer(framed(1, 0x84, code))
        link = build_link(raw_settings(peer.port, "modbus rtu"), asyncio.get_running_loop().time)
        ended, told = await read_registers(link, Wanted(1, "input register", 0, 200, find=True), as_json=False)
        await link.close()
    assert (ended, len(peer.requests)) == (1, 1)
    assert f"refused with code {code}" in told


async def test_silence_ends_a_search_and_keeps_what_came() -> None:
    with Peer() as peer:
        peer.answer(framed(1, 0x84, 2), framed(1, 4, 2, 0, 9))
        link = build_link(raw_settings(peer.port, "modbus rtu"), asyncio.get_running_loop().time)
        code, told = await read_registers(link, Wanted(1, "input register", 0, 2, find=True), as_json=False)
        await link.close()
    assert code == 0
    assert "readable: 0\n" in told
    assert "It ended early: unit 1" in told


# -- text


async def asked(peer: TextPeer, text: str, *, as_json: bool = False) -> tuple[int, str]:
    seen = bytearray()

    def trace(sending: bool, data: bytes) -> None:
        if not sending:
            seen.extend(data)

    link = build_link(raw_settings(peer.port, "serial text"), asyncio.get_running_loop().time, trace)
    try:
        return await question(link, text, seen, as_json=as_json)
    finally:
        await link.close()


async def test_an_answer_is_shown_byte_by_byte_with_its_line_end() -> None:
    with TextPeer(lambda _: b"+1.95E0 A\r\n") as peer:
        code, told = await asked(peer, "MEAS:CURR?")
        assert peer.heard == ["MEAS:CURR?"]
    assert code == 0
    assert told.splitlines() == [
        "sent: MEAS:CURR? and LF",
        "   0  2B +      31 1      2E .      39 9      35 5      45 E      30 0      20 space",
        "   8  41 A      0D CR     0A LF",
        "answer: +1.95E0 A",
    ]


async def test_an_answer_that_is_no_proper_one_is_shown_all_the_same() -> None:
    with TextPeer(lambda _: b"1.9\xff5\n") as peer:
        code, told = await asked(peer, "MEAS:CURR?", as_json=True)
    given = json.loads(told)
    assert (code, given["bytes"], given["answer"]) == (1, list(b"1.9\xff5\n"), "")
    assert "it is no plain text" in given["failure"]


async def listened(peer: TextPeer, said: bytes) -> tuple[int, dict[str, Any]]:
    link = build_link(raw_settings(peer.port, "serial text"), asyncio.get_running_loop().time)
    await link.open()
    peer.say(said)
    try:
        code, told = await listen(link, 0.05, as_json=True)
    finally:
        await link.close()
    assert peer.heard == [], "nothing is sent"
    return code, json.loads(told)


async def test_sentences_that_come_are_judged_one_by_one() -> None:
    good = encode(Sentence("READ", 7, ("t1=20.4",)))
    with TextPeer() as peer:
        code, told = await listened(peer, b"1=20\r\n" + good + good.replace(b"20.4", b"20.5") + b"hello\r\n")
    assert code == 0
    assert [row["fault"] for row in told["lines"]] == [
        "it had begun before",
        "",
        "its check sum is wrong",
        "it is no whole sentence",
    ]


async def test_a_silent_wire_has_no_good_sentence() -> None:
    with TextPeer() as peer:
        assert await listened(peer, b"") == (1, {"version": 1, "lines": []})


def test_a_missing_port_is_told_as_such(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["probe", "--raw", "/dev/nowhere", "--listen", "5"]) == 1
    assert "port /dev/nowhere is missing; plug the adapter in" in capsys.readouterr().out
