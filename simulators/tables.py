"""Reads TOML tables key by key and says plainly what is wrong with them."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from pathlib import Path


class FileError(ValueError):
    """A file for the simulators cannot be used; the text names the key and what would be right."""


class Reader:
    """One table of a file; every key must be asked for before `finish`."""

    def __init__(self, data: Mapping[str, object], place: str) -> None:
        self._data = data
        self._place = place
        self._asked: set[str] = set()

    def _where(self, key: str) -> str:
        return f"{self._place}.{key}" if self._place else key

    def has(self, key: str) -> bool:
        """Whether the key is there."""
        return key in self._data

    def keys(self) -> list[str]:
        """The keys that are there."""
        return list(self._data)

    def number(self, key: str, default: float | None = None, low: float = -math.inf, high: float = math.inf) -> float:
        """A finite number from low to high; the default where the key is absent. Raises FileError."""
        self._asked.add(key)
        value = self._data.get(key, default)
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise FileError(f"{self._where(key)}: a number is needed here, not {value!r}.")
        if not low <= value <= high:
            raise FileError(f"{self._where(key)}: {value} lies outside {low} to {high}.")
        return float(value)

    def optional_number(self, key: str, low: float = -math.inf) -> float | None:
        """A finite number of at least low, or None where the key is absent. Raises FileError."""
        self._asked.add(key)
        return self.number(key, low=low) if key in self._data else None

    def whole(self, key: str, default: int | None = None, low: int = 0, high: int = 65535) -> int:
        """A whole number from low to high. Raises FileError."""
        value = self.number(key, default, low, high)
        if value != int(value):
            raise FileError(f"{self._where(key)}: a whole number is needed here, not {value}.")
        return int(value)

    def text(self, key: str, default: str | None = None, choices: tuple[str, ...] = ()) -> str:
        """A text, one of the choices where there are any. Raises FileError."""
        self._asked.add(key)
        value = self._data.get(key, default)
        if not isinstance(value, str):
            raise FileError(f"{self._where(key)}: a text is needed here, not {value!r}.")
        if choices and value not in choices:
            raise FileError(f"{self._where(key)}: {value!r} is none of {', '.join(choices)}.")
        return value

    def flag(self, key: str, default: bool) -> bool:
        """True or false. Raises FileError."""
        self._asked.add(key)
        value = self._data.get(key, default)
        if not isinstance(value, bool):
            raise FileError(f"{self._where(key)}: true or false is needed here, not {value!r}.")
        return value

    def table(self, key: str) -> Reader:
        """A table within this one; empty where absent. Raises FileError."""
        self._asked.add(key)
        value = self._data.get(key, {})
        if not isinstance(value, dict):
            raise FileError(f"{self._where(key)}: a table is needed here.")
        return Reader(value, self._where(key))

    def named_tables(self, key: str) -> dict[str, Reader]:
        """The tables within the table `key`, by name. Raises FileError."""
        inner = self.table(key)
        return {name: inner.table(name) for name in inner.keys()}  # noqa: SIM118 - a method, not a mapping's

    def listed_tables(self, key: str) -> list[Reader]:
        """A list of tables, empty where absent. Raises FileError."""
        self._asked.add(key)
        value = self._data.get(key, [])
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            raise FileError(f"{self._where(key)}: a list of tables is needed here.")
        return [Reader(item, f"{self._where(key)}[{number}]") for number, item in enumerate(value)]

    def finish(self) -> None:
        """Raise FileError when a key was never asked for."""
        unknown = sorted(set(self._data) - self._asked)
        if unknown:
            known = ", ".join(sorted(self._asked))
            raise FileError(f"{self._where(unknown[0])}: this key is not known here. Known are: {known}.")


def read_toml(path: Path) -> Reader:
    """The whole file as a table. Raises FileError when it cannot be read."""
    try:
        return Reader(tomllib.loads(path.read_text(encoding="utf-8")), "")
    except OSError as error:
        raise FileError(f"{path} cannot be read: {error.strerror}. Give the path of a TOML file.") from error
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise FileError(f"{path} is not a TOML file: {error}.") from error
