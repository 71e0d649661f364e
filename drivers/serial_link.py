"""Serial ports as the operating system shows them: taken for one holder only, and why one cannot be had."""

from __future__ import annotations

import contextlib
import errno
import fcntl
import grp
import os
import termios
from pathlib import Path

PTY_MAJORS = range(136, 144)
"""Device numbers of pseudo-terminals (Linux admin-guide/devices.txt, UNIX98 slaves)."""


def is_pty(port: str) -> bool:
    """Tell whether a port is a pseudo-terminal, which carries bytes and knows no parity. A missing port is none."""
    try:
        return os.major(Path(port).stat().st_rdev) in PTY_MAJORS
    except OSError:
        return False


def take(fd: int) -> None:
    """Refuse every further opening of this port, beside the advisory lock that pyserial takes.

    Not on a pseudo-terminal: there the mark outlives the process that set it for as long as the other end lives,
    so a supervisor that was killed would find its own port busy for ever.
    """
    if os.major(os.fstat(fd).st_rdev) not in PTY_MAJORS:
        fcntl.ioctl(fd, termios.TIOCEXCL)


def why_not(port: str, detail: str) -> str:
    """Say in one plain text why a port could not be opened, and what to do first.

    Args:
        port: path of the port.
        detail: what an attempt said that could open the port but not set it up; empty if it could not be opened.
    """
    path = Path(port)
    if path.is_symlink() and not path.exists():
        target = path.readlink()
        return f"port {port} is missing: it points to {target}, which is not there; plug the adapter in and try again"
    if not path.exists():
        return f"port {port} is missing; plug the adapter in and compare the path with the names in /dev/serial/by-id"
    try:
        fd = os.open(port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    except OSError as exc:
        return _why_not_opened(path, exc)
    try:
        return _why_not_usable(port, fd, detail)
    finally:
        os.close(fd)


def _why_not_opened(path: Path, exc: OSError) -> str:
    if isinstance(exc, PermissionError):
        group = _group(path)
        return f"port {path} may not be opened by this user; add the user to the group {group}, log in again, try again"
    if exc.errno == errno.EBUSY:
        return _busy(str(path))
    if exc.errno in {errno.EISDIR, errno.ENXIO}:
        return _not_serial(str(path))
    return f"port {path} could not be opened ({exc.strerror}); unplug the adapter, plug it in again, try again"


def _why_not_usable(port: str, fd: int, detail: str) -> str:
    if not os.isatty(fd):
        return _not_serial(port)
    if detail:
        return f"port {port} does not take its settings ({detail}); check speed, parity and stop bits in the line file"
    try:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return _busy(port)
    return f"port {port} could not be opened but is free now; try again"


def _busy(port: str) -> str:
    return f"port {port} is busy: another program holds it; end that program first (`fuser {port}` shows which)"


def _not_serial(port: str) -> str:
    return f"{port} is not a serial port; correct the link's port in the line file"


def _group(path: Path) -> str:
    gid = 0
    with contextlib.suppress(OSError, KeyError):
        gid = path.stat().st_gid
        return grp.getgrgid(gid).gr_name
    return str(gid)
