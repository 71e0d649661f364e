"""Publishing over MQTT: whatever the broker does or does not do, nothing of the supervisor ever waits for it.

Source: MQTT 3.1.1 (every broker knows it): retained messages, last will, QoS 1.
"""

from __future__ import annotations

import asyncio
import logging
import random
import socket
import ssl
import threading
from collections import deque
from collections.abc import Callable, Coroutine
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from types import TracebackType
from typing import Any, ParamSpec, Self, TypeVar

import aiomqtt

from supervisor.core.actions import Note
from supervisor.edges.latest import Latest
from supervisor.edges.payloads import EventPayload, Offline, Reporter

_log = logging.getLogger(__name__)

LEAST_BACK_OFF_S, MOST_BACK_OFF_S = 1.0, 30.0
KEEP_ALIVE_S = 10
"""A dead link shows after twice this at the latest; the broker publishes the will after one and a half times."""

ANSWER_S = 5.0
"""Time the broker has for each answer. A name look-up may take longer, in a thread that nobody waits for."""

SAMPLE_S = 0.5
LOOK_S = 1.0
MOST_EVENTS = 1000
FAREWELL_S = 1.0
"""Time in which the last events and states go out before `offline` does."""

P = ParamSpec("P")
T = TypeVar("T")


@dataclass(frozen=True)
class Broker:
    """Where to publish.

    Attributes:
        client: our name there; one of a kind, so that a broker ends what is left of our connection before.
        tls: whether to encrypt; the host name is checked then, always. ca_file: certificates to trust.
        password: how to get it, anew for each attempt; may raise any exception that is fit to be told.
    """

    host: str
    port: int
    client: str
    tls: bool = False
    ca_file: Path | None = None
    user: str | None = None
    password: Callable[[], str | None] = lambda: None

    def __str__(self) -> str:
        return f"{self.host}:{self.port}"


class Publisher:
    """Publishes one line's states and events until it is closed."""

    def __init__(self, broker: Broker, reporter: Reporter) -> None:
        self._broker = broker
        self._reporter = reporter
        self._latest = Latest(reporter.possible_alarms, reporter.normal)
        self._events: deque[tuple[str, EventPayload]] = deque()
        self._lost = 0
        self._missed = 0
        self._published = 0
        self._connected = False
        self._problem = ""
        self._news = asyncio.Event()
        self._ending = asyncio.Event()
        self._sampled_s = 0.0
        self._chance = random.Random(broker.client)  # noqa: S311 - spreads attempts; one seed, one course
        self._task: asyncio.Task[None] | None = None
        self._looking: asyncio.Task[None] | None = None

    # -- what the supervisor calls; none of it waits for the broker

    def start(self) -> None:
        """Begin to publish, in a task of its own that no failure leaves."""
        loop = asyncio.get_running_loop()
        # The client connects in the loop's executor, whose threads a program otherwise waits for at its end.
        loop.set_default_executor(_Unattended())
        self._task = asyncio.create_task(self._run(), name="mqtt")
        self._looking = asyncio.create_task(self._look(), name="mqtt, while away")

    def note(self, note: Note) -> None:
        """Take an event to be published; where too many wait, the oldest is dropped and counted."""
        if len(self._events) >= MOST_EVENTS:
            self._events.popleft()
            self._lost += 1
        self._events.append(self._reporter.event(note))
        self._news.set()

    def told(self) -> dict[str, Any]:
        """Say how publishing goes, for the line's status."""
        return {
            "broker": str(self._broker),
            "connected": self._connected,
            "published": self._published,
            "states_missed": self._missed,
            "events_waiting": len(self._events),
            "events_lost": self._lost,
            "problem": self._problem,
        }

    async def close(self, within_s: float) -> None:
        """Publish what there is yet and `offline` last; after this time, s, just leave: the will says it then."""
        self._ending.set()
        self._news.set()  # wakes it
        if self._task is None or self._looking is None:
            return
        try:
            if self._connected:
                await asyncio.wait({self._task}, timeout=within_s)
        finally:
            self._task.cancel()
            self._looking.cancel()
        await asyncio.wait({self._task, self._looking}, timeout=within_s)

    # -- the task

    async def _run(self) -> None:
        """Connect again and again, ever more slowly, until told to end."""
        tries, now_s = 0, asyncio.get_running_loop().time
        while not self._ending.is_set():
            began_s = now_s()
            try:
                await self._connection()
            except Exception as problem:  # noqa: BLE001 - whatever fails at this edge, the supervision goes on
                self._tell(problem)
            finally:
                self._connected = False
            tries = 0 if now_s() - began_s > MOST_BACK_OFF_S else tries + 1
            await self._until_ending(self._back_off_s(tries))

    def _back_off_s(self, tries: int) -> float:
        """Double from try to try, a quarter up or down by chance."""
        wait_s = LEAST_BACK_OFF_S * 2.0 ** min(tries - 1, 10) * self._chance.uniform(0.75, 1.25)
        return min(max(wait_s, LEAST_BACK_OFF_S), MOST_BACK_OFF_S)

    async def _until_ending(self, within_s: float) -> None:
        with suppress(TimeoutError):
            async with asyncio.timeout(within_s):
                await self._ending.wait()

    async def _look(self) -> None:
        """While nobody takes them, count the states that are missed."""
        while True:
            await asyncio.sleep(LOOK_S)
            if not self._connected:
                try:
                    self._missed += self._latest.offer(self._reporter.states(self._lost))
                except Exception as problem:  # noqa: BLE001 - as in the other task
                    self._tell(problem)

    def _tell(self, problem: Exception) -> None:
        """Say it once, not at every try."""
        text = str(problem) or type(problem).__name__
        if text != self._problem and not self._ending.is_set():
            _log.warning(
                "Not published: the broker at %s: %s. The supervision goes on; the newest states and up to %d events "
                "are kept for it.", self._broker, text.rstrip("."), MOST_EVENTS,
            )  # fmt: skip
        self._problem = text

    async def _connection(self) -> None:
        """Make one connection with a client of its own, and publish until it breaks or all is to end."""
        topic, will = self._reporter.offline("connection lost", self._lost)
        loop = asyncio.get_running_loop()
        password, tls = await loop.run_in_executor(None, self._secrets)
        async with _Client(
            self._broker.host, self._broker.port, identifier=self._broker.client, username=self._broker.user,
            password=password, tls_context=tls, keepalive=KEEP_ALIVE_S, timeout=ANSWER_S, logger=_quiet,
            will=aiomqtt.Will(topic, will.model_dump_json(), qos=1, retain=True),
        ) as client:  # fmt: skip
            self._connected = True
            if self._problem:
                _log.info("The broker at %s is there; publishing goes on.", self._broker)
            self._problem = ""
            self._latest.forget()
            await _first(self._publish(client), client.lost())
            await self._farewell(client)

    def _secrets(self) -> tuple[str | None, ssl.SSLContext | None]:
        """Read what lies in files; in a thread, for a file may lie on a network."""
        password = self._broker.password()
        if not self._broker.tls:
            return password, None
        try:
            return password, ssl.create_default_context(cafile=self._broker.ca_file)
        except OSError as problem:
            raise OSError(f"the certificates in {self._broker.ca_file} cannot be used: {problem}") from None

    async def _publish(self, client: aiomqtt.Client) -> None:
        """Publish what is due, events and states in turn, look again when something happens; until told to end."""
        while not self._ending.is_set():
            self._sample()
            sent_event = await self._send_event(client)
            sent_state = await self._send_state(client)
            if not (sent_event or sent_state):
                now_s = asyncio.get_running_loop().time()
                wait_s = self._latest.wait_s(now_s)
                with suppress(TimeoutError):
                    async with asyncio.timeout(LOOK_S if wait_s is None else min(wait_s, LOOK_S)):
                        await self._news.wait()

    def _sample(self) -> None:
        """Take a fresh look at the line where the last one is old or something happened since."""
        now_s = asyncio.get_running_loop().time()
        if self._news.is_set() or now_s - self._sampled_s >= SAMPLE_S:
            self._news.clear()
            self._sampled_s = now_s
            self._latest.offer(self._reporter.states(self._lost))

    async def _send_event(self, client: aiomqtt.Client) -> bool:
        """Publish the oldest event; it stays until the broker has confirmed it. Says whether there was one."""
        if not self._events:
            return False
        oldest = topic, payload = self._events[0]
        await self._send(client, topic, payload.model_dump_json(), retain=False)
        if self._events and self._events[0] is oldest:
            self._events.popleft()
        return True

    async def _send_state(self, client: aiomqtt.Client) -> bool:
        """Publish the one state that is due. Says whether there was one."""
        now_s = asyncio.get_running_loop().time
        due = self._latest.due(now_s())
        if due is None:
            return False
        topic, payload = due
        ok = False
        try:
            await self._send(client, topic, payload.model_dump_json() if payload else "", retain=True)
            ok = True
        finally:
            self._latest.ended(topic, payload, now_s(), ok=ok)
        return True

    async def _send(self, client: aiomqtt.Client, topic: str, text: str, *, retain: bool) -> None:
        # QoS 1 for states too: at QoS 0 a publish into a dead link looks like one that arrived.
        await client.publish(topic, text, qos=1, retain=retain)
        self._published += 1

    async def _farewell(self, client: aiomqtt.Client) -> None:
        """Publish how the line was left, and last that nobody supervises it any more."""
        now_s = asyncio.get_running_loop().time
        with suppress(TimeoutError):
            async with asyncio.timeout(FAREWELL_S):
                self._latest.offer(self._reporter.states(self._lost))
                while self._events:
                    await self._send_event(client)
                while (wait_s := self._latest.wait_s(now_s())) is not None:
                    await asyncio.sleep(wait_s)
                    await self._send_state(client)
        reason: Offline = "ended"
        topic, payload = self._reporter.offline(reason, self._lost)
        await asyncio.sleep(self._latest.rest_s(topic, now_s()))
        await self._send(client, topic, payload.model_dump_json(), retain=True)


class _Client(aiomqtt.Client):
    """The library's client, but one that leaves nothing open and takes its leave only after an orderly end."""

    async def __aenter__(self) -> Self:
        try:
            return await super().__aenter__()
        except BaseException:
            self._hang_up()
            raise

    async def __aexit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is None:
            await super().__aexit__(kind, problem, trace)
        else:
            self._hang_up()  # without a farewell, so that the broker publishes the will

    async def lost(self) -> None:
        """Wait until the connection is lost, and raise ConnectionError then."""
        try:
            async for _ in self.messages:
                pass  # we subscribe to nothing
        except aiomqtt.MqttError as problem:
            raise ConnectionError("the connection broke") from problem

    def _hang_up(self) -> None:
        """Shut the socket: the library, told by its reader, cleans up; after a failed attempt it would keep it open."""
        self._disconnected.add_done_callback(_heard)
        if self._connected.cancelled():  # the library's own reader would fail at it
            self._connected = asyncio.get_running_loop().create_future()
        connection = self._client.socket()
        if isinstance(connection, socket.socket):
            with suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)
        else:  # a thread may be connecting yet: what it comes by is closed there
            self._client.on_socket_open = _close
            self._client.on_socket_register_write = None


def _close(_client: object, _userdata: object, connection: Any) -> None:
    connection.close()


def _heard(lost: asyncio.Future[None]) -> None:
    """Take note of how a connection ended, or asyncio complains that nobody did."""
    if not lost.cancelled():
        lost.exception()


async def _first(*work: Coroutine[Any, Any, None]) -> None:
    """Do all until one is done; raises what that one raises, and leaves none behind."""
    tasks = [asyncio.ensure_future(one) for one in work]
    try:
        done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        for task in done:
            task.result()
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


class _Unattended(ThreadPoolExecutor):
    """Runs each job in a thread that nobody waits for: a name look-up can take minutes, and off is long proven."""

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Start the job at once."""
        future: Future[T] = Future()
        job = partial(fn, *args, **kwargs)
        threading.Thread(target=_do, args=(future, job), name="mqtt connect", daemon=True).start()
        return future


def _do(future: Future[T], job: Callable[[], T]) -> None:
    if not future.set_running_or_notify_cancel():
        return
    try:
        result = job()
    except BaseException as problem:  # noqa: BLE001 - handed on whole
        future.set_exception(problem)
    else:
        future.set_result(result)


_quiet = logging.getLogger(f"{__name__}.client")
_quiet.setLevel(logging.CRITICAL)  # what its library logs comes to us as exceptions, and is told once
