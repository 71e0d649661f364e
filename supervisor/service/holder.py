"""One supervisor per line, port and journal: who holds a name, and ending a holder that no longer answers."""

from __future__ import annotations

import errno
import fcntl
import json
import os
import pwd
import select
import signal
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from types import TracebackType
from typing import Any, Self
from urllib.parse import quote

from supervisor.runtime import RuntimeFolderError, runtime_folder

_TRIES = 20
_BETWEEN_TRIES_S = 0.01
_HIGHEST_PID = 2**22  # the kernel's own bound


class HolderError(RuntimeFolderError):
    """A lock or its folder cannot be used; the text says why and what to do."""


@dataclass(frozen=True, slots=True)
class Holder:
    """The process that holds a name.

    Attributes:
        name: what it holds, as given to `hold`. pid: its process id; 0 where its record is not readable.
        started_ticks: when that process began, clock ticks since boot (field 22 of /proc/PID/stat).
        user: its user. line: the line's name. line_file: the line file. since: UTC, ISO 8601.
        doing: what for: `run`, `off` for one that only switches off and goes by itself, `probe`: only reading.
    """

    name: str
    pid: int
    started_ticks: int
    user: str
    line: str
    line_file: str
    since: str
    doing: str = "run"

    def __str__(self) -> str:
        """Return one phrase for people."""
        if not self.pid:
            return f"{self.name} is held by a process that left no readable record"
        doing = "probing" if self.doing == "probe" else "running"
        return (
            f"{self.name} is held by process {self.pid} of {self.user}, {doing} line {self.line}"
            f" ({self.line_file}) since {self.since}"
        )


class AlreadyHeldError(HolderError):
    """Someone else holds at least one of the names. `holders` lists every one of them."""

    def __init__(self, holders: Sequence[Holder]) -> None:
        self.holders = tuple(holders)
        told = "; ".join(str(holder) for holder in holders)
        who = "A probe" if all(holder.doing == "probe" for holder in holders) else "Another supervisor"
        super().__init__(f"{who} is running: {told}. Stop that one first.")


def path_name(kind: str, path: Path) -> str:
    """Return the name to hold for a file or port: one for all ways of writing its path, and short enough for a file."""
    real = os.fsencode(path.resolve())
    escaped = quote(real, safe="")
    return f"{kind}-{escaped if len(escaped) <= 150 else sha256(real).hexdigest()}"


class Held:
    """Names held until it is left. The kernel gives them back too when the process ends, however it ends."""

    def __init__(self, locks: ExitStack) -> None:
        self._locks = locks

    def release(self) -> None:
        """Give the names back; harmless the second time."""
        self._locks.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.release()


def hold(names: Sequence[str], *, line: str, line_file: Path, wall_s: float, doing: str = "run") -> Held:
    """Hold all the names for this process, or none.

    `wall_s` is now, UTC seconds since 1970, for the record. Raises AlreadyHeldError, which names every holder, or
    HolderError.
    """
    folder = runtime_folder()
    record = Holder(
        name="",
        pid=os.getpid(),
        started_ticks=_started_ticks(os.getpid()) or 0,
        user=_user(),
        line=line,
        line_file=str(line_file.absolute()),
        since=datetime.fromtimestamp(wall_s, UTC).isoformat(timespec="seconds"),
        doing=doing,
    )
    with ExitStack() as locks:
        busy: list[Holder] = []
        # In one order, and none taken after one is missed: of two that start together, one gets all it needs.
        for name in sorted(set(names)):
            lock = None if busy else _take(_lock_path(folder, name))
            if lock is not None:
                locks.callback(os.close, lock)
                _write_record(lock, record)
            elif (holder := _look(folder, name)) is not None:
                busy.append(holder)
        if busy:
            raise AlreadyHeldError(busy)
        return Held(locks.pop_all())


def holder_of(name: str) -> Holder | None:
    """Return who holds the name now; None where nobody does, whatever an old record says. Raises HolderError."""
    return _look(runtime_folder(), name)


def holders_of_file(line_file: Path) -> list[Holder]:
    """Return who holds the name of a line and was started with this line file. Raises HolderError."""
    folder = runtime_folder()
    found = [_look(folder, lock.stem) for lock in sorted(folder.glob("line-*.lock"))]
    return [holder for holder in found if holder is not None and holder.line_file == str(line_file.absolute())]


def end_holder(holder: Holder, term_s: float, kill_s: float) -> None:
    """End a holder so that its port is free: SIGTERM and `term_s` to obey (0: none), then SIGKILL and `kill_s`.

    Only the very process that took the name is ended, never one that has got its number since. Returns at once where
    it is gone already. Raises HolderError if it may not be ended, does not end, or is not known.
    """
    if not holder.pid:
        raise HolderError(f"{holder}, so it cannot be ended from here. Find it with: fuser {_lock_of(holder)}")
    with _process(holder) as process:
        if process is None:
            return
        for number, wait_s in ((signal.SIGTERM, term_s), (signal.SIGKILL, kill_s)):
            if number == signal.SIGTERM and term_s <= 0:
                continue
            if _signal(process, number, holder) or _ends(process, wait_s):
                return
    raise HolderError(f"Process {holder.pid} did not end within {kill_s} s. Cut the mains of the supply by hand.")


@contextmanager
def _process(holder: Holder) -> Iterator[int | None]:
    """Give a handle on the holder's process that cannot come to mean another; None where it has ended."""
    try:
        process = os.pidfd_open(holder.pid)
    except ProcessLookupError:
        yield None
        return
    try:
        # Only now: from here on the handle stands for the process whose start is looked up.
        yield process if _started_ticks(holder.pid) == holder.started_ticks else None
    finally:
        os.close(process)


def _signal(process: int, number: signal.Signals, holder: Holder) -> bool:
    """Send the signal; says whether the process had ended already."""
    try:
        signal.pidfd_send_signal(process, number)
    except ProcessLookupError:
        return True
    except PermissionError as problem:
        raise HolderError(
            f"You may not end process {holder.pid} of {holder.user}. Ask that user, or run this command as root."
        ) from problem
    return False


def _ends(process: int, wait_s: float) -> bool:
    """Wait for the process to end, its locks given back; says whether it did."""
    watch = select.poll()
    watch.register(process, select.POLLIN)
    return bool(watch.poll(wait_s * 1000))


def _lock_path(folder: Path, name: str) -> Path:
    if "/" in name or not name:
        raise ValueError(f"{name!r} cannot be held; use path_name for paths")
    return folder / f"{name}.lock"


def _lock_of(holder: Holder) -> Path:
    return _lock_path(runtime_folder(), holder.name)


def _open_lock(path: Path, flags: int) -> int:
    try:
        # A link here would have us write into a file of someone else's choice.
        return os.open(path, flags | os.O_NOFOLLOW | os.O_CLOEXEC, 0o640)
    except OSError as problem:
        if problem.errno == errno.ELOOP:
            raise HolderError(
                f"{path} is a link, which no lock ever is. Find out who made it, and remove it."
            ) from problem
        raise HolderError(f"The lock {path} cannot be opened: {problem.strerror}.") from problem


def _take(path: Path) -> int | None:
    """Return a handle that holds the lock; None where another process does.

    Someone who only looks holds it for an instant, so one miss is not the answer yet.
    """
    lock = _open_lock(path, os.O_RDWR | os.O_CREAT)
    for _ in range(_TRIES):
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            time.sleep(_BETWEEN_TRIES_S)
        else:
            return lock
    os.close(lock)
    return None


def _write_record(lock: int, record: Holder) -> None:
    text = json.dumps(asdict(record)).encode()
    os.ftruncate(lock, 0)
    os.pwrite(lock, text, 0)


def _look(folder: Path, name: str) -> Holder | None:
    path = _lock_path(folder, name)
    if not os.path.lexists(path):
        return None
    lock = _open_lock(path, os.O_RDONLY)
    try:
        fcntl.flock(lock, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return _read_record(lock, name)
    else:
        return None
    finally:
        os.close(lock)


def _read_record(lock: int, name: str) -> Holder:
    """Read who holds the lock. A holder that has not written its record yet, over an old one, is given a moment."""
    holder: Holder | None = None
    for _ in range(_TRIES):
        holder = _parse_record(os.pread(lock, 65536, 0), name)
        if holder is not None and _started_ticks(holder.pid) == holder.started_ticks:
            return holder
        time.sleep(_BETWEEN_TRIES_S)
    return holder or Holder(name, 0, 0, "", "", "", "")


def _parse_record(text: bytes, name: str) -> Holder | None:
    try:
        found: Any = json.loads(text)
        user, line, line_file, since = (str(found[key]) for key in ("user", "line", "line_file", "since"))
        doing = str(found.get("doing", "run"))
        holder = Holder(name, int(found["pid"]), int(found["started_ticks"]), user, line, line_file, since, doing)
    except (AttributeError, ValueError, TypeError, KeyError, RecursionError):
        return None
    return holder if 0 < holder.pid <= _HIGHEST_PID else None


def _started_ticks(pid: int) -> int | None:
    """Return when a process began; None where there is none. The name before it may hold spaces and brackets."""
    try:
        text = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8", errors="replace")
    except OSError:
        return None
    return int(text.rpartition(")")[2].split()[19])


def _user() -> str:
    try:
        return pwd.getpwuid(os.getuid()).pw_name
    except KeyError:
        return f"user {os.getuid()}"
