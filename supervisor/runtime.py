"""The folder for locks and sockets: one for each user or service, that nobody else can put files into."""

from __future__ import annotations

import os
import stat
import tempfile
from pathlib import Path


class RuntimeFolderError(Exception):
    """What lies in the folder for locks and sockets cannot be used; the text says why and what to do."""


def runtime_folder() -> Path:
    """Return the folder for locks and sockets, made if it is not there.

    $AMPMINDER_RUNTIME, else the first of $RUNTIME_DIRECTORY, else $XDG_RUNTIME_DIR/ampminder, else a folder of the
    user's own in the temporary folder. Raises RuntimeFolderError where others could put files of theirs into it.
    """
    named = os.environ.get("AMPMINDER_RUNTIME") or os.environ.get("RUNTIME_DIRECTORY", "").split(":")[0]
    if named:
        return _safe_folder(Path(named), 0o750, chosen=True)
    session = os.environ.get("XDG_RUNTIME_DIR")
    if session and Path(session).is_dir():
        return _safe_folder(Path(session) / "ampminder", 0o700, chosen=False)
    return _safe_folder(Path(tempfile.gettempdir()) / f"ampminder-{os.getuid()}", 0o700, chosen=False)


def _safe_folder(folder: Path, mode: int, *, chosen: bool) -> Path:
    """Make the folder or check it. One that was chosen by name may be another user's, whose group we are in."""
    try:
        folder.mkdir(mode=mode, parents=chosen, exist_ok=True)
        found = folder.lstat()
    except OSError as problem:
        raise RuntimeFolderError(
            f"The folder {folder} for locks and sockets cannot be used: {problem.strerror}."
        ) from problem
    if not stat.S_ISDIR(found.st_mode):
        raise RuntimeFolderError(f"{folder} must be a folder of its own, not a link or file. Remove it first.")
    if found.st_uid != os.getuid() and not chosen:
        raise RuntimeFolderError(
            f"The folder {folder} belongs to someone else. Set AMPMINDER_RUNTIME to a folder of your own."
        )
    if found.st_mode & stat.S_IWOTH:
        raise RuntimeFolderError(f"Anyone may write into {folder}. Take that right away (chmod o-w) and start again.")
    return folder
