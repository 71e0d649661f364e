"""The service: what it is made of, and its start, run and stop on one screen."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator, Callable, Collection
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from drivers.points import LinkSettings, SerialSettings
from supervisor.config.load import LineFile, records_folder
from supervisor.config.setup import line_setup, link_settings
from supervisor.core.actions import Note
from supervisor.core.alarm_requests import HIDING, against_hiding
from supervisor.core.events import Ending, Started
from supervisor.core.line import CORE_VERSION, Line
from supervisor.core.permissives import failing
from supervisor.core.plan import against
from supervisor.core.requests import which_supply
from supervisor.core.setup import OutputSetup
from supervisor.edges.control import ControlServer, Peer, Refusal, socket_path
from supervisor.edges.requests import read_request, readable_hiding, readable_order
from supervisor.records.codec import encode_state
from supervisor.records.journal import Journal
from supervisor.service.calibrations import calibrations
from supervisor.service.clock import Clock, boot_id
from supervisor.service.dispatch import Outbox
from supervisor.service.exercising import Kept, Trial
from supervisor.service.factors import factors
from supervisor.service.holder import Held, hold, path_name
from supervisor.service.life import show_life
from supervisor.service.loop import StepLoop
from supervisor.service.polling import Driven, LinkRunner, Switching
from supervisor.service.restore import Restored, profile_texts, restore
from supervisor.service.safe import Fate, make_safe
from supervisor.service.status import alarm_log, status
from supervisor.service.turns import turns
from supervisor.service.wires import build_wires, safe_state, supply_driver, switch_driver, switched_outputs

if TYPE_CHECKING:
    from supervisor.edges.mqtt import Publisher

ENDING_S = 3.0
"""Wire time in which a service that ends waits for the proof of off before it goes the shortest way."""

SAFE_S = 2.0
"""Wire time for the shortest way to off at the end."""

MQTT_CLOSE_S = 2.0
JOURNAL_CLOSE_S = 2.0
ANSWER_S = 3.0
WATCH_EVERY_S = 0.25

FAREWELL_S = 0.05
"""Wire time in which watchers are told the last state, off proven or not, before the socket closes."""

_log = logging.getLogger(__name__)


def journal_path(line: LineFile) -> Path:
    """Where the journal of a line is kept."""
    return records_folder(line) / f"{line.name}.journal"


def port_names(line: LineFile) -> list[str]:
    """Name the ports of a line, to be held."""
    return [port_name(settings) for settings in link_settings(line).values()]


def port_name(settings: LinkSettings) -> str:
    """Name the port, or host, of a link, to be held."""
    if isinstance(settings, SerialSettings):
        return path_name("port", Path(settings.port))
    return f"host-{quote(settings.place, safe='')}"


def names_to_hold(line: LineFile) -> list[str]:
    """Everything only one supervisor may have: the line, its ports, its journal."""
    return [f"line-{line.name}", *port_names(line), path_name("journal", journal_path(line))]


class Service:
    """One line under supervision."""

    def __init__(
        self,
        line: LineFile,
        clock: Clock,
        *,
        watch_only: bool = False,
        tell: Callable[[Note], None],
        link_trace: Callable[[bool, bytes], None] | None = None,
    ) -> None:
        """`tell` is given every note, for people; `link_trace` (sending, bytes) for everything on any wire."""
        self._file = line
        self._clock = clock
        self._watch_only = watch_only
        self._tell = tell
        self.setup = line_setup(line, clock.speed)
        self._links, self._devices = build_wires(line, clock.now, link_trace)
        self._outboxes = {name: Outbox() for name in self._links}
        self._runners = {name: self._runner(name) for name in self._links}
        self.steps: StepLoop
        self._kept = Kept(line, clock)
        self._publisher: Publisher | None = None
        self._over = asyncio.Event()
        self.fates: list[Fate] = []
        """How every supply and output was left, however the run ended; empty where none was touched."""

    async def run(self, stop: asyncio.Event) -> list[Fate]:
        """Supervise until `stop` is set; whatever happens, the last thing sent is off. Returns each supply's fate.

        A run that only watches sends off once, at its start; its fates are those of the outputs exercised meanwhile.

        Raises AlreadyHeldError where another supervisor has the line, a port or the journal, and JournalError.
        """
        with self._held():
            journal: Journal | None = None
            try:
                if not self._watch_only:
                    # R3 before the disk is asked for anything: it may refuse, or never answer.
                    await self._safe_state(0.0, urgent_only=True)
                journal = await Journal.open(journal_path(self._file))
                before = await self._begin(journal)
                self._publish()
                self.steps.post(self._started(before))  # before anybody can ask for anything
                self.steps.beat()
                async with ControlServer(socket_path(self.setup.name), self._handle), asyncio.TaskGroup() as group:
                    work = [
                        group.create_task(
                            runner.run(self.steps.post, self.steps.planned_s, self.steps.goes_on), name=f"link {name}"
                        )
                        for name, runner in self._runners.items()
                    ]
                    work.append(group.create_task(self.steps.fail(), name="failed step"))
                    work.append(group.create_task(show_life(self.steps.goes_on), name="sign of life"))
                    await stop.wait()
                    await self._end()
                    self._over.set()
                    await asyncio.sleep(FAREWELL_S)
                    for task in work:
                        task.cancel()
            finally:
                try:
                    await self._safe_state(SAFE_S)
                finally:
                    await self._close(journal)
        return self.fates

    # -- start

    def _held(self) -> Held:
        return hold(
            names_to_hold(self._file), line=self.setup.name, line_file=self._file.path, wall_s=self._clock.wall()
        )

    async def _begin(self, journal: Journal) -> Restored | None:
        """Bring the line to where the run before left it, and open the record of this run."""
        if journal.notice:
            _log.warning("%s", journal.notice)
        before = await self._restore(journal)
        await journal.begin_run(
            boot_id=boot_id(),
            line_name=self.setup.name,
            line_text=self._file.path.read_text(encoding="utf-8-sig"),
            line_hash=self._file.line_hash,
            profiles=profile_texts(self._file),
            core_version=CORE_VERSION,
            speed=self._clock.speed,
            wall_s=self._clock.wall(),
        )
        line = Line(self.setup, before.state if before else None)
        journal.note_snapshot(encode_state(line.state))  # a replay of this run, or a restart after a step, begins here
        supplies = {name: self._outbox_of(supply.device) for name, supply in self.setup.supplies.items()}
        switches = {name: self._outbox_of(output.device) for name, output in switched_outputs(self.setup).items()}
        self.steps = StepLoop(line, self._clock, journal, supplies, switches, self._note)
        self._journal = journal
        return before

    def _started(self, before: Restored | None) -> Started:
        """The first event, of this very moment: from it on the core counts for how long nothing came."""
        return Started(
            self._clock.instant(),
            boot_id(),
            CORE_VERSION,
            self._file.line_hash,
            self._watch_only,
            journal_s=before.journal_s if before else None,
            same_boot=before is None or (before.boot_id == boot_id() != "" and before.speed == self._clock.speed),
        )

    async def _restore(self, journal: Journal) -> Restored | None:
        """A record that cannot be read back must not keep the supervisor from its first duty, which is off."""
        try:
            return restore(await journal.last_state())
        except Exception as problem:  # noqa: BLE001 - whatever an older release or a changed core makes of an old record
            _log.error("The run before cannot be restored, so its load is not known here: %s", problem)
            return None

    def _outbox_of(self, device: str) -> Outbox:
        return self._outboxes[self._file.document.devices[device].link]

    # -- run

    def _publish(self) -> None:
        """Begin to publish where the line file names a broker; only then its library is loaded."""
        if self._file.document.mqtt is not None:
            from supervisor.service.publishing import make_publisher  # noqa: PLC0415

            self._publisher = make_publisher(self._file, self._file.document.mqtt, self._clock, self.status)
            self._publisher.start()

    def _note(self, note: Note) -> None:
        self._tell(note)
        if self._publisher is not None:
            self._publisher.note(note)

    def _runner(self, link: str) -> LinkRunner:
        on_link = {
            name: self._devices[name] for name, table in self._file.document.devices.items() if table.link == link
        }
        supplies = {
            name: Driven(supply_driver(self._devices, supply), (supply.current,))
            for name, supply in self.setup.supplies.items()
            if supply.device in on_link and supply.control == "remote"
        }
        switches = {
            name: Switching(switch_driver(self._devices, output), output.point, self._shown_by(output))
            for name, output in switched_outputs(self.setup).items()
            if output.device in on_link
        }
        due = turns(on_link, list(self.setup.channels.values()), self._clock)
        time_out_s = self._links[link].settings.response_time_out_s
        return LinkRunner(self._outboxes[link], due, supplies, switches, time_out_s, self._clock, self._hasten)

    def _shown_by(self, output: OutputSetup) -> tuple[str, ...]:
        """The channels that show what became of a switched output: its auxiliary contact, and the current it breaks."""
        broken = [supply.current for supply in self.setup.supplies.values() if supply.contactor == output.name]
        return (*broken, *(() if output.auxiliary is None else (output.auxiliary,)))

    def _hasten(self, channels: Collection[str]) -> None:
        for runner in self._runners.values():
            runner.hasten(channels)

    async def _handle(
        self, kind: str, body: dict[str, Any], peer: Peer
    ) -> dict[str, Any] | AsyncIterator[dict[str, Any]]:
        """Answer one request at the control socket."""
        if kind in {"status", "factor", "calibrations"}:
            return self._shown(kind)
        if kind == "watch":
            return self._watch()
        if kind == "exercised":
            return await self._kept.keep(body, peer, self.steps)
        try:
            request = read_request(kind, body, at=self._clock.instant(), who=peer.user)
        except Refusal as refusal:
            raise Refusal(*refusal.reasons, *self._also_against(kind, body, peer.user)) from None
        waiting = self.steps.answer_to(request.id)
        if waiting is None:
            raise Refusal("fresh: this request came before and is done only once.")
        try:
            self.steps.post(request)
            async with asyncio.timeout(ANSWER_S):
                answer = await waiting
        except TimeoutError:
            raise Refusal("The supervisor did not decide in time. Look at its state before you ask again.") from None
        finally:
            self.steps.forget(request.id)
        if not answer.ok:
            raise Refusal(*answer.reasons)
        if request.what == "exercise":
            return Trial(request, self.steps, self._clock, self.status)
        return dict(answer.data)

    def _shown(self, kind: str) -> dict[str, Any]:
        """Answer what asks for nothing but to be shown."""
        state = self.steps.line.state
        if kind == "factor":
            return factors(self.setup, state)
        if kind == "calibrations":
            return calibrations(self.setup, state, self._clock.instant())
        return self.status() | {"alarm_log": alarm_log(state)}

    def _also_against(self, kind: str, body: dict[str, Any], who: str) -> tuple[str, ...]:
        """What would refuse it anyhow, for a request that is refused for how it was written."""
        state, now_s = self.steps.line.state, self._clock.instant().process_s
        if kind in HIDING:
            request, unread = readable_hiding(kind, body, at=self._clock.instant(), who=who)
            reasons = against_hiding(self.setup, state, request)
            return tuple(reason for reason in reasons if reason.partition(":")[0] not in unread)
        name, unclear = which_supply(state, str(body.get("supply", "")))
        if kind not in {"start", "restart"}:
            return ()
        if unclear:
            return unclear
        standing = failing(self.setup, state, name, kind, now_s)
        if kind == "restart":
            return standing
        order, unread = readable_order(body)
        return (*against(self.setup, self.setup.supplies[name], order, unread), *standing)

    def status(self) -> dict[str, Any]:
        """How the line stands now."""
        now = status(self.setup, self.steps.line.state, self._clock.instant())
        path, healthy, problem = str(journal_path(self._file)), self._journal.healthy, self._journal.problem
        return now | {
            "speed": self._clock.speed,
            "line_hash": self._file.line_hash,
            "journal": {"path": path, "healthy": healthy, "problem": problem},
            "mqtt": None if self._publisher is None else self._publisher.told(),
        }

    async def _watch(self) -> AsyncIterator[dict[str, Any]]:
        while not self._over.is_set():
            yield self.status()
            with suppress(TimeoutError):
                async with asyncio.timeout(WATCH_EVERY_S):
                    await self._over.wait()
        yield self.status()

    # -- stop

    async def _end(self) -> None:
        """Tell the core to end, and let the links go on until it has proven off or the time is over."""
        self.steps.post(Ending(self._clock.instant()))
        if self._watch_only:
            return
        ends_s = self._clock.now() + ENDING_S
        while self._clock.now() < ends_s and not self._all_proven():  # noqa: ASYNC110 - proof comes by many small steps
            await asyncio.sleep(0.01)

    def _only_watched(self) -> bool:
        """Whether all it ever commanded was the off at its start: a run made by hand since is not ours to end."""
        return self._watch_only and hasattr(self, "steps")

    async def _close(self, journal: Journal | None) -> None:
        """After the outputs: nothing here can keep one on."""
        try:
            if self._publisher is not None:
                await self._publisher.close(MQTT_CLOSE_S)
        finally:
            if hasattr(self, "steps"):
                self.steps.close()
            for link in self._links.values():
                await link.close()
            if journal is not None:
                await journal.close(JOURNAL_CLOSE_S)

    def _all_proven(self) -> bool:
        return all(supply.output.proven_off for supply in self.steps.line.state.supplies.values())

    async def _safe_state(self, within_s: float, *, urgent_only: bool = False) -> None:
        """R3: the first command after start and the last before exit, the shortest way; no cancel cuts it short.

        At the start what can do no harm waits for the core, whose first commands are the same. Of a run that only
        watched, what was exercised alone is left safe.
        """
        supplies, outputs = safe_state(self._file, self._devices, self.setup)
        wanted = [output for output in outputs if output.vital or not urgent_only]
        if self._only_watched():
            tried = {name for name, of in self.steps.line.state.outputs.items() if of.tried}
            supplies, wanted = [], [output for output in outputs if output.name in tried]
        last = asyncio.create_task(make_safe(supplies, wanted, within_s), name="safe state")
        cancelled = False
        while not last.done():
            try:
                await asyncio.wait({last})
            except asyncio.CancelledError:
                cancelled = True
        self.fates = last.result()
        if cancelled:
            raise asyncio.CancelledError
