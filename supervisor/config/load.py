"""Reading a line file: once, whole, with every mistake in it told at once."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from supervisor.config.broker import mqtt_mistakes
from supervisor.config.checks import across
from supervisor.config.mistakes import LineMistakes, Mistake, Where, from_validation, teller
from supervisor.config.model import DeviceTable, LineDocument, ProfileDocument, ReadingTable
from supervisor.config.profile import DeviceProfile, understand
from supervisor.config.shape import half_filled
from supervisor.config.wire import View
from supervisor.units import System

LARGEST_FILE_BYTES = 1_000_000

INLINE = ("driver", "timing", "reading", "opening", "points")
"""What a device table may say in place of naming a profile."""

_RECORDED = "line.toml"  # what a recorded line file is called where mistakes in it are told

M = TypeVar("M", bound=BaseModel)


@dataclass(frozen=True)
class LineFile:
    """A line file without mistakes.

    Attributes:
        path: where it was read, absolute.
        document: its tables, quantities in inside units.
        profiles: by device name.
        line_hash: SHA-256 over the file and every profile it names, for the record.
    """

    path: Path
    document: LineDocument
    profiles: dict[str, DeviceProfile]
    line_hash: str

    @property
    def name(self) -> str:
        """The line's name."""
        return self.document.line.name

    @property
    def system(self) -> System:
        """The units people are shown."""
        return self.document.line.units

    @property
    def folder(self) -> Path:
        """What relative paths in the file start from."""
        return self.path.parent


def load_line(path: Path) -> LineFile:
    """Read a line file and the profiles it names. Raises LineMistakes with everything wrong in them."""
    return _Loading(path).line()


def load_recorded(line_text: str, profiles: Mapping[str, str]) -> LineFile:
    """Understand a line file from recorded texts alone: its own and, by the name it gives them, its profiles'.

    No file is read or written, so nothing that lies there now can come in or be lost. Raises LineMistakes.
    """
    return _Loading(Path(_RECORDED), {_RECORDED: line_text, **profiles}).line()


def records_folder(line: LineFile) -> Path:
    """Where this line's record is kept, absolute; it need not exist yet."""
    return line.folder / line.document.records.folder


class _Loading:
    """One reading of one file; collects mistakes instead of stopping at the first."""

    def __init__(self, path: Path, texts: Mapping[str, str] | None = None) -> None:
        """`texts` maps names to what is in them; None reads files."""
        self._path = path.absolute()
        self._texts = texts
        self._name = str(path)
        self._mistakes: list[Mistake] = []
        self._hash = hashlib.sha256()
        self._files: dict[str, DeviceProfile | None] = {}

    def line(self) -> LineFile:
        """Read all there is to read, then tell all that is wrong."""
        given = self._toml(self._name, self._path, "")
        if given is None:
            raise LineMistakes(tuple(self._mistakes))
        document = self._document(LineDocument, given, "")
        profiles = {
            name: profile for name, table in document.devices.items() if (profile := self._profile(name, table))
        }
        across(View(self._path.parent, document, profiles, given), teller(self._mistakes))
        mqtt_mistakes(document.mqtt, teller(self._mistakes))
        if self._mistakes:
            raise LineMistakes(tuple(self._mistakes))
        return LineFile(self._path, document, profiles, self._hash.hexdigest())

    def _toml(self, name: str, path: Path, prefix: str) -> dict[str, Any] | None:
        """Read one file as TOML; None after telling why that cannot be."""
        try:
            problem, right = _no_plain_file(path) if self._texts is None else self._not_recorded(name)
            if not problem:
                content = path.read_bytes() if self._texts is None else self._texts[name].encode()
                self._hash.update(len(content).to_bytes(8, "big") + content)
                return tomllib.loads(content.decode("utf-8-sig"))
        except OSError as error:
            problem, right = f"{path} cannot be read: {error.strerror}", "name a file that you may read"
        except UnicodeDecodeError as error:
            problem, right = f"the file is not UTF-8 at byte {error.start}", "save it as UTF-8"
        except (ValueError, RecursionError) as error:  # tomllib: also numbers too long, tables too deep
            problem, right = f"not TOML: {str(error)[:200] or 'nested too deeply'}", "mend the line it names"
        self._mistakes.append(Mistake(f"{prefix}(file)", problem, right))
        return None

    def _not_recorded(self, name: str) -> tuple[str, str]:
        return ("", "") if name in (self._texts or ()) else (f"{name} was not recorded", "look into the record by hand")

    def _document(self, model: type[M], given: dict[str, Any], prefix: str) -> M:
        """The document; half filled, after telling why, where something in it is wrong."""
        try:
            return model.model_validate(given)
        except ValidationError as error:
            bad: list[Where] = []
            for where, mistake in from_validation(error, model):
                bad.append(where)
                self._mistakes.append(Mistake(prefix + mistake.key_path, mistake.problem, mistake.right))
            filled: M = half_filled(model, given, bad)
            return filled

    def _profile(self, device: str, table: DeviceTable) -> DeviceProfile | None:
        inline = [key for key in INLINE if getattr(table, key) is not None]
        told = teller(self._mistakes, base=("devices", device))
        if table.profile is not None:
            for key in inline:
                told((key,), "the device has a profile file as well", f"remove either profile or {key}")
            return self._profile_file(table.profile)
        if table.driver is None or table.timing is None or table.points is None:
            if not any(m.key_path.startswith(f"devices.{device}.") for m in self._mistakes):
                told((), "its registers are not told", "name a profile file, or give driver, timing and points here")
            return None
        reading, opening = table.reading or ReadingTable(), table.opening or ()
        return understand(table.driver, table.timing, reading, opening, table.points, told)

    def _profile_file(self, name: str) -> DeviceProfile | None:
        """Read a profile once, however many devices name it."""
        if name not in self._files:
            self._files[name] = None
            prefix = f"{name}: "
            given = self._toml(name, self._path.parent / name, prefix)
            if given is not None:
                document = self._document(ProfileDocument, given, prefix)
                told = teller(self._mistakes, prefix)
                if document.driver is not None:
                    self._files[name] = understand(
                        document.driver, document.timing, document.reading, document.opening, document.points, told
                    )
        return self._files[name]


def _no_plain_file(path: Path) -> tuple[str, str]:
    if not path.exists():
        return f"there is no file {path}", "name a line file"
    if not path.is_file():
        return f"{path} is not a plain file", "name a line file"
    size = path.stat().st_size
    if size == 0:
        return f"{path} is empty", "start from config/bench-metric.toml"
    if size > LARGEST_FILE_BYTES:
        return f"{path} has {size} bytes; a line file has at most {LARGEST_FILE_BYTES}", "name a line file"
    return "", ""
