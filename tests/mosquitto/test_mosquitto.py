"""The service at a real mosquitto, with mosquitto_sub looking on: two programs that are not ours."""

from __future__ import annotations

import os
import signal
import subprocess
import time
from collections.abc import Iterator
from itertools import pairwise

import pytest

from tests.edges.mqtt_kit import publishes
from tests.edges.test_mqtt_tls import certificate
from tests.harness.lines import SPEED, Files, short_folder, write_files
from tests.harness.wire import service, simulators
from tests.mosquitto.kit import free_port, mosquitto, mosquitto_sub, program, until

pytestmark = pytest.mark.mosquitto

LINE = "ampminder/demo/line/demo"
SUPPLY, OPERATION, TANK = (f"ampminder/demo/{name}" for name in ("supply/main", "operation/main", "tank/acid"))


@pytest.fixture
def files() -> Iterator[Files]:
    with short_folder() as folder:
        yield write_files(folder)


def test_a_load_from_start_to_end_as_a_foreign_subscriber_sees_it(files: Files) -> None:
    with mosquitto() as (_, port), mosquitto_sub(port) as seen:
        publishes(files, port)
        with simulators(files, speed=SPEED), service(files, speed=SPEED) as running:
            running.until_proven()
            running.begin("3 um")
            running.until("complete", 30.0)
            until(lambda: seen.newest(OPERATION).get("state") == "complete")
            assert running.stop() == 0
        until(lambda: seen.newest(LINE)["presence"] == "offline")
    assert seen.newest(LINE)["reason"] == "ended"
    assert seen.newest(SUPPLY)["off_proven"]
    events = [(qos, retained, text) for _, topic, retained, qos, text in seen.messages if "/event/" in topic]
    assert len(events) >= 3
    assert {(qos, retained) for qos, retained, _ in events} == {(1, False)}
    for topic in (LINE, SUPPLY, OPERATION, TANK):
        times_s = [at_s for at_s, t, *_ in seen.messages if t == topic]
        assert all(later - earlier > 0.95 for earlier, later in pairwise(times_s)), topic  # as the reader's thread saw


def test_a_late_subscriber_gets_the_retained_states(files: Files) -> None:
    with mosquitto() as (_, port):
        publishes(files, port)
        with simulators(files, speed=SPEED), service(files, speed=SPEED) as running:
            running.until_proven()
            until(lambda: running.status()["mqtt"]["published"] >= 4)
            with mosquitto_sub(port, "-W", "2") as seen:
                until(lambda: len({topic for _, topic, *_ in seen.messages}) >= 4)
            first = {t: retained for _, t, retained, *_ in reversed(seen.messages) if "/alarm/" not in t}
            assert first == dict.fromkeys((LINE, SUPPLY, OPERATION, TANK), True)


def test_a_killed_supervisor_is_told_by_its_will_and_one_started_again_is_online(files: Files) -> None:
    with mosquitto() as (_, port), mosquitto_sub(port) as seen:
        publishes(files, port)
        with simulators(files, speed=SPEED):
            with service(files, speed=SPEED) as running:
                until(lambda: seen.newest(LINE).get("presence") == "online")
                os.kill(running.process.pid, signal.SIGKILL)
                until(lambda: seen.newest(LINE)["presence"] == "offline")
            assert seen.newest(LINE)["reason"] == "connection lost"
            with service(files, speed=SPEED):
                until(lambda: seen.newest(LINE)["presence"] == "online")


def test_a_supervisor_that_stands_still_is_told_offline_after_one_and_a_half_keep_alives(files: Files) -> None:
    with mosquitto() as (_, port), mosquitto_sub(port) as seen:
        publishes(files, port)
        with simulators(files, speed=SPEED), service(files, speed=SPEED) as running:
            until(lambda: seen.newest(LINE).get("presence") == "online")
            os.kill(running.process.pid, signal.SIGSTOP)
            until(lambda: seen.newest(LINE)["presence"] == "offline", 25.0)
            os.kill(running.process.pid, signal.SIGCONT)
            until(lambda: seen.newest(LINE)["presence"] == "online", 60.0)


def test_a_broker_that_comes_late_and_one_that_goes_and_forgets_are_told_all(files: Files) -> None:
    port = free_port()
    publishes(files, port)
    with simulators(files, speed=SPEED), service(files, speed=SPEED) as running:
        running.until_proven()
        for _ in range(2):
            with mosquitto(port=port), mosquitto_sub(port) as seen:
                until(lambda seen=seen: seen.newest(TANK) and seen.newest(LINE), 40.0)  # type: ignore[misc]
            until(lambda: not running.status()["mqtt"]["connected"])
        assert running.stop() == 0


def test_the_broker_wants_a_password_and_refuses_a_wrong_one(files: Files) -> None:
    passwords, word = files.folder / "passwords", files.folder / "word"
    subprocess.run([program("mosquitto_passwd"), "-b", "-c", str(passwords), "line", "open sesame"], check=True)
    word.write_text("wrong word\n")
    word.chmod(0o600)
    with mosquitto("allow_anonymous false", f"password_file {passwords}") as (_, port):
        publishes(files, port, 'user = "line"', 'password_file = "word"')
        with simulators(files, speed=SPEED), service(files, speed=SPEED) as running:
            running.until_proven()
            until(lambda: running.status()["mqtt"]["problem"])
            assert not running.status()["mqtt"]["connected"]
            word.write_text("open sesame\n")
            until(lambda: running.status()["mqtt"]["connected"], 40.0)
    assert "sesame" not in (files.folder / "service.log").read_text()


@pytest.mark.parametrize(("made_out_to", "taken"), [("localhost", True), ("broker.example", False)])
def test_tls_with_the_right_and_a_wrong_host_name(files: Files, made_out_to: str, taken: bool) -> None:
    pem, key = certificate(files.folder, made_out_to)
    with mosquitto("allow_anonymous true", f"certfile {pem}", f"keyfile {key}") as (_, port):
        publishes(files, port, "tls = true", f'ca_file = "{pem}"')
        text = files.line.read_text().replace('host = "127.0.0.1"', 'host = "localhost"')
        files.line.write_text(text)
        with simulators(files, speed=SPEED), service(files, speed=SPEED) as running:
            running.until_proven()
            told = until(lambda: (m := running.status()["mqtt"]) and (m["connected"] or m["problem"]) and m)
            assert told["connected"] is taken
            assert ("mismatch" in told["problem"]) is not taken


def test_an_alarm_that_came_and_went_leaves_nothing_retained(files: Files) -> None:
    alarm = "ampminder/demo/alarm/acid.temperature-lost"
    with mosquitto() as (_, port), mosquitto_sub(port) as seen:
        publishes(files, port)
        with simulators(files, speed=SPEED) as simulated, service(files, speed=SPEED) as running:
            running.until_proven()
            until(lambda: seen.newest(LINE))
            time.sleep(1.0)
            simulated.order({"fault": {"what": "device silent", "device": "thermometer"}})
            until(lambda: seen.newest(alarm), 30.0)
            simulated.order({"clear": "device silent"})
            until(lambda: not seen.newest(alarm).get("active", True), 30.0)
            running.ask("alarm acknowledge", alarm="acid/temperature-lost")
            running.ask("alarm reset", alarm="acid/temperature-lost")
            until(lambda: seen.of(alarm)[-2:-1] and seen.of(alarm)[-1] is None, 30.0)
            assert seen.of(alarm)[-2]["state"] == "normal"
        with mosquitto_sub(port, "--retained-only", "-W", "1") as later:
            until(lambda: later.newest(LINE))
        assert later.of(alarm) == []
