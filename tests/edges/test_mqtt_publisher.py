"""The publisher against a real broker: what a subscriber gets, and when the broker is away, late or refuses."""

from __future__ import annotations

import asyncio
import json
import socket
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from pwdlib import PasswordHash
from pwdlib.hashers.argon2 import Argon2Hasher

from supervisor.edges import mqtt
from tests.edges.mqtt_kit import (
    ALARM_TOPIC,
    LINE_TOPIC,
    TANK_TOPIC,
    Played,
    a_note,
    bad_broker,
    closed,
    looking_on,
    publishing,
    real_broker,
    until,
)
from tests.harness.virtual import virtually

EVENT_TOPIC = "ampminder/demo/event/operation"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@virtually
async def test_a_late_subscriber_gets_every_state_at_once() -> None:
    line = Played(alarms={"acid/bath-high": "unacknowledged"})
    async with real_broker() as port, publishing(line.publisher(port)) as publisher:
        await until(lambda: publisher.told()["published"] >= 5)
        async with looking_on(port) as seen:
            await until(lambda: len(seen.messages) >= 5)
        assert all(retain for *_, retain, _ in seen.messages)
        assert seen.of(LINE_TOPIC)[0]["presence"] == "online"
        assert seen.of(TANK_TOPIC)[0]["temperature_c"] == 20.5
        assert seen.of(ALARM_TOPIC)[0]["state"] == "unacknowledged"


@virtually
async def test_a_topic_never_gets_more_than_one_message_a_second_and_the_newest_wins() -> None:
    line = Played()
    async with real_broker() as port, looking_on(port) as seen, publishing(line.publisher(port)) as publisher:
        for number in range(400):
            line.temperature_c = 20.0 + number / 1000
            line.alarms = ({}, {"acid/bath-high": "unacknowledged"}, {"acid/bath-high": "acknowledged"})[number % 3]
            publisher.note(a_note(number))
            await asyncio.sleep(0.02)
        await asyncio.sleep(2.0)
    for topic in (TANK_TOPIC, ALARM_TOPIC, LINE_TOPIC):
        times_s = seen.times_s(topic)
        assert len(times_s) > 3, topic
        assert all(later - earlier >= 0.999 for earlier, later in pairwise(times_s)), topic
    assert seen.of(TANK_TOPIC)[-1]["temperature_c"] == 20.399


@virtually
async def test_events_come_once_in_order_at_qos_1_and_are_not_retained() -> None:
    async with real_broker() as port, publishing(Played().publisher(port)) as publisher:
        async with looking_on(port) as seen:
            for number in range(20):
                publisher.note(a_note(number))
            await until(lambda: len(seen.events()) == 20)
            assert seen.events() == list(range(1, 21))
            assert {(retain, qos) for _, topic, _, retain, qos in seen.messages if topic == EVENT_TOPIC} == {(False, 1)}
        async with looking_on(port) as later:
            await until(lambda: later.of(LINE_TOPIC))
        assert later.events() == []


@virtually
async def test_offline_is_the_last_word_of_a_clean_end_after_the_events_and_newest_states() -> None:
    line = Played()
    async with real_broker() as port, looking_on(port) as seen:
        async with publishing(line.publisher(port)) as publisher:
            await until(lambda: seen.of(TANK_TOPIC))
            line.temperature_c = 23.0
            publisher.note(a_note())
        await until(lambda: seen.of(LINE_TOPIC)[-1]["presence"] == "offline")
        assert seen.of(LINE_TOPIC)[-1]["reason"] == "ended"
        assert seen.messages[-1][1] == LINE_TOPIC
        assert seen.events() == [1]
        assert seen.of(TANK_TOPIC)[-1]["temperature_c"] == 23.0


@virtually
async def test_a_connection_that_breaks_is_told_by_the_will_and_a_publisher_that_failed_goes_on() -> None:
    line = Played()
    async with real_broker() as port, looking_on(port) as seen, publishing(line.publisher(port)):
        await until(lambda: seen.of(TANK_TOPIC))
        line.broken = True
        await until(lambda: seen.of(LINE_TOPIC)[-1]["presence"] == "offline")
        assert seen.of(LINE_TOPIC)[-1]["reason"] == "connection lost"
        line.broken = False
        await until(lambda: seen.of(LINE_TOPIC)[-1]["presence"] == "online", 40.0)


@virtually
async def test_a_broker_that_comes_late_gets_the_newest_states_and_all_events_that_were_kept() -> None:
    line, port = Played(), free_port()
    async with publishing(line.publisher(port)) as publisher:
        for number in range(5):
            publisher.note(a_note(number))
        await until(lambda: "refused" in publisher.told()["problem"])
        for number in range(10):
            line.temperature_c = 21.0 + number / 10
            await asyncio.sleep(mqtt.LOOK_S)
        line.temperature_c = 21.5
        await asyncio.sleep(90.0)
        async with real_broker(port), looking_on(port) as seen:
            await until(lambda: seen.of(TANK_TOPIC) and len(seen.events()) == 5, 40.0)
            assert [tank["temperature_c"] for tank in seen.of(TANK_TOPIC)] == [21.5]
            assert 9 <= publisher.told()["states_missed"] <= 10
            assert publisher.told() | {"published": 0, "states_missed": 0} == {
                "broker": f"127.0.0.1:{port}", "connected": True, "published": 0, "states_missed": 0,
                "events_waiting": 0, "events_lost": 0, "problem": "",
            }  # fmt: skip


@virtually
async def test_events_that_were_not_confirmed_come_again_after_a_reconnect_with_their_numbers() -> None:
    port = free_port()
    async with publishing(Played().publisher(port)) as publisher:
        async with real_broker(port):
            await until(lambda: publisher.told()["connected"], 40.0)
            publisher.note(a_note())
            await until(lambda: not publisher.told()["events_waiting"])
        publisher.note(a_note())
        await until(lambda: not publisher.told()["connected"])
        publisher.note(a_note())
        async with real_broker(port), looking_on(port) as seen:
            await until(lambda: not publisher.told()["events_waiting"], 60.0)
            await until(lambda: seen.events()[-2:] == [2, 3])


@virtually
async def test_a_connection_that_breaks_while_there_is_nothing_to_tell_is_made_again() -> None:
    port = free_port()
    async with publishing(Played().publisher(port)) as publisher:
        async with real_broker(port):
            await until(lambda: publisher.told()["published"] >= 4, 40.0)
            await asyncio.sleep(3.0)
        await until(lambda: not publisher.told()["connected"], 5.0)
        async with real_broker(port), looking_on(port) as seen:
            await until(lambda: seen.of(LINE_TOPIC), 40.0)


@virtually
async def test_of_too_many_events_the_oldest_are_dropped_and_their_number_is_told() -> None:
    port = free_port()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(mqtt, "MOST_EVENTS", 10)
        async with publishing(Played().publisher(port)) as publisher:
            for number in range(25):
                publisher.note(a_note(number))
            await until(lambda: publisher.told()["problem"])
            async with real_broker(port), looking_on(port) as seen:
                await until(lambda: len(seen.events()) == 10 and seen.of(LINE_TOPIC), 60.0)
                assert seen.events() == list(range(16, 26))
                assert seen.of(LINE_TOPIC)[-1]["events_lost"] == publisher.told()["events_lost"] == 15


@virtually
async def test_tries_come_ever_more_rarely_from_one_to_thirty_seconds_apart() -> None:
    tries_s: list[float] = []

    async def slam(_reader: asyncio.StreamReader, _writer: asyncio.StreamWriter) -> None:
        tries_s.append(asyncio.get_running_loop().time())

    async with bad_broker(slam) as port, publishing(Played().publisher(port)):
        await asyncio.sleep(400.0)
    waits_s = [later - earlier for earlier, later in pairwise(tries_s)]
    assert waits_s[0] < 7.0  # with the 5 s a broker has for its answer
    assert min(waits_s) >= 1.0
    assert max(waits_s) <= 35.0
    assert waits_s[-1] >= 20.0


@virtually
async def test_a_half_open_broker_is_given_up_with_its_socket_after_five_seconds() -> None:
    ended_s: list[float] = []

    async def never_answer(reader: asyncio.StreamReader, _writer: asyncio.StreamWriter) -> None:
        began_s = asyncio.get_running_loop().time()
        while await reader.read(1024):
            pass
        ended_s.append(asyncio.get_running_loop().time() - began_s)

    async with bad_broker(never_answer) as port, publishing(Played().publisher(port)) as publisher:
        await until(lambda: len(ended_s) >= 3, 60.0)
        assert "timed out" in publisher.told()["problem"]
        assert all(took_s <= mqtt.ANSWER_S + 0.5 for took_s in ended_s)


CONNACK, PUBACK = b"\x20\x02\x00\x00", b"\x40\x02"


@virtually
async def test_a_broker_that_stops_answering_is_left_and_what_waits_stays_bounded() -> None:
    connections = []

    async def accept_and_sleep(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        connections.append(await reader.read(1024))
        writer.write(CONNACK)
        await asyncio.sleep(1e6)

    line = Played()
    async with bad_broker(accept_and_sleep) as port, publishing(line.publisher(port)) as publisher:
        for number in range(300):
            line.temperature_c = number
            publisher.note(a_note(number))
            await asyncio.sleep(0.2)
        assert len(connections) >= 3
        assert publisher.told()["published"] == 0
        assert publisher.told()["events_waiting"] == 300


@virtually
async def test_a_slow_broker_gets_states_that_are_fresh_when_it_is_ready_for_them() -> None:
    delay_s, shown = 0.8, list[tuple[float, float]]()
    line = Played()

    async def slowly(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while True:
            kind = (await reader.readexactly(1))[0]
            length, shift = 0, 0
            while True:
                digit = (await reader.readexactly(1))[0]
                length |= (digit & 0x7F) << shift
                shift += 7
                if not digit & 0x80:
                    break
            body = await reader.readexactly(length)
            if kind >> 4 == 1:
                writer.write(CONNACK)
            elif kind >> 4 == 3:
                topic_length = int.from_bytes(body[:2])
                topic, rest = body[2 : 2 + topic_length].decode(), body[2 + topic_length :]
                if topic == TANK_TOPIC:
                    shown.append((line.temperature_c, json.loads(rest[2:])["temperature_c"]))
                await asyncio.sleep(delay_s)
                writer.write(PUBACK + rest[:2])

    async with bad_broker(slowly) as port, publishing(line.publisher(port)):
        for number in range(300):
            line.temperature_c = float(number)  # 10 a second
            await asyncio.sleep(0.1)
    assert len(shown) >= 10
    assert all(0 <= now - told <= 10 * (mqtt.SAMPLE_S + 0.2) for now, told in shown)


@virtually
async def test_a_client_that_waits_to_connect_does_not_keep_the_supervisor_at_its_end(
    caplog: pytest.LogCaptureFixture,
) -> None:
    async def never_answer(_reader: asyncio.StreamReader, _writer: asyncio.StreamWriter) -> None:
        await asyncio.sleep(1e6)

    async with bad_broker(never_answer) as port:
        publisher = Played().publisher(port)
        publisher.start()
        await asyncio.sleep(1.0)
        began_s = asyncio.get_running_loop().time()
        await publisher.close(2.0)
        assert asyncio.get_running_loop().time() - began_s < 0.1
        await asyncio.sleep(1.0)
    assert caplog.records == []


@virtually
async def test_a_broker_that_fell_silent_keeps_the_supervisor_two_seconds_at_most_at_its_end() -> None:
    async def accept_and_sleep(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(1024)
        writer.write(CONNACK)
        await asyncio.sleep(1e6)

    async with bad_broker(accept_and_sleep) as port:
        publisher = Played().publisher(port)
        publisher.start()
        await until(lambda: publisher.told()["connected"])
        began_s = asyncio.get_running_loop().time()
        await publisher.close(2.0)
        assert asyncio.get_running_loop().time() - began_s <= 2.1


@virtually
async def test_a_broker_wants_the_password_and_one_that_refuses_is_told_without_it() -> None:
    with TemporaryDirectory() as folder:
        passwords = Path(folder) / "passwords"
        hashed = PasswordHash((Argon2Hasher(time_cost=1, memory_cost=8, parallelism=1),)).hash("open sesame")
        passwords.write_text(f"line:{hashed}\n")
        async with real_broker(plugins=closed(passwords)) as port:
            await wrong_then_right(port)


async def wrong_then_right(port: int) -> None:
    wrong = Played().publisher(port, user="line", password=lambda: "wrong word")
    async with publishing(wrong):
        await until(lambda: wrong.told()["problem"], 20.0)
        assert not wrong.told()["connected"]
        assert "wrong word" not in str(wrong.told())
    async with publishing(Played().publisher(port, user="line", password=lambda: "open sesame")) as right:
        await until(lambda: right.told()["connected"], 20.0)
