"""Mistakes in a line file: where, what, and what would be right; told all at once."""

from __future__ import annotations

import difflib
import json
import re
import reprlib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from supervisor.config.shape import NAME, at, fields_of, quantity_of

Where = tuple[str | int, ...]
Told = Callable[[Where, str, str], None]
"""Takes a mistake: where, what, what would be right."""


@dataclass(frozen=True, slots=True)
class Mistake:
    """One thing wrong in a line file or in a profile it names.

    Attributes:
        key_path: where it stands, such as `tanks.acid.limits.trip_high`; before a colon the profile's path.
        problem: what is wrong.
        right: what would be right.
    """

    key_path: str
    problem: str
    right: str

    def __str__(self) -> str:
        """One line for a person."""
        return f"{self.key_path}: {self.problem}. Right: {self.right}"


class LineMistakes(Exception):  # noqa: N818 (a person's mistakes, not the program's)
    """A line file that cannot be used, with every mistake found in it."""

    def __init__(self, mistakes: tuple[Mistake, ...]) -> None:
        super().__init__("\n".join(map(str, mistakes)))
        self.mistakes = mistakes


def key_path(where: Where) -> str:
    """Spell a path of keys as TOML does; a number is a place in a list, counted from 0."""
    text = ""
    for part in where:
        if isinstance(part, int):
            text += f"[{part}]"
        else:
            plain = re.fullmatch(r"[A-Za-z0-9_-]+", part)
            text += ("." if text else "") + (part if plain else f'"{part}"')
    return text or "(file)"


def nearest(word: str, known: Iterable[str], none: str) -> str:
    """Name the known word that is most like this one, or all of them; `none` says what to do when there are none."""
    words = sorted(known)
    if not words:
        return none
    near = difflib.get_close_matches(word, words, n=1, cutoff=0.5)
    return f"did you mean {near[0]}?" if near else f"known here: {', '.join(words)}"


def short(value: object) -> str:
    """Show any value from a file in few characters."""
    shortener = reprlib.Repr()
    shortener.maxstring = shortener.maxother = 60
    return shortener.repr(value)


def from_validation(error: ValidationError, model: type[BaseModel]) -> Iterator[tuple[Where, Mistake]]:
    """Turn what pydantic found in a document of this model into mistakes, in order, with their key paths."""
    for detail in error.errors(include_url=False):
        where = tuple(part for part in detail["loc"] if part != "[key]")
        problem, right = _told(detail, model)
        yield where, Mistake(key_path(where), problem, right)


def _told(detail: ErrorDetails, model: type[BaseModel]) -> tuple[str, str]:
    loc, given, context = detail["loc"], short(detail["input"]), detail.get("ctx", {})
    problem, right = f"{given} does not fit", _plain(detail["msg"])
    match detail["type"]:
        case "quantity":
            problem, right = context["problem"], context["right"]
        case "extra_forbidden":
            problem, right = "unknown key", nearest(str(loc[-1]), fields_of(at(model, loc[:-1])), "remove it")
        case "missing":
            problem, right = "this key is missing", _to_add(at(model, loc[:-1]), str(loc[-1]))
        case "string_pattern_mismatch" if context["pattern"] == NAME:
            problem, right = f"{given} is not a name", "use lower-case words and hyphens, such as acid-temperature"
        case "literal_error":
            problem, right = f"{given} is not known here", f"write {context['expected']}"
        case "model_type" | "dict_type":
            problem, right = f"{given} stands where a table belongs", f"write a table: [{key_path(loc)}]"
    return problem, right


def _to_add(model: Any, name: str) -> str:
    field = model.model_fields[name]
    quantity = quantity_of(field)
    if quantity:
        return f'add {name} = "{quantity.example}", or what is true of yours'
    if get_origin(field.annotation) is Literal:
        return f"add {name} = {' or '.join(json.dumps(word) for word in get_args(field.annotation))}"
    return f"add its table, [{name}]" if fields_of(at(model, (name,))) else f"add {name}"


def _plain(message: str) -> str:
    return re.sub(r"^(Input|String|List|Dictionary|Tuple) should (be|have|match)", "it should be", message)


def below(path: str, other: str) -> bool:
    """Tell whether the key path `other` is this one or lies under it."""
    return other == path or other.startswith((f"{path}.", f"{path}["))


def teller(mistakes: list[Mistake], prefix: str = "", base: Where = ()) -> Told:
    """Collect what is told, with the file it stands in and the keys above it.

    What follows from a mistake in the form of the same key is not told again.
    """
    form = [mistake.key_path for mistake in mistakes]

    def told(where: Where, problem: str, right: str) -> None:
        path = prefix + key_path((*base, *where))
        if not any(below(path, other) for other in form):
            mistakes.append(Mistake(path, problem, right))

    return told
