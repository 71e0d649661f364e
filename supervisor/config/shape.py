"""What the models of the files are made of: quantities with units, names, and how to walk and half-fill a model."""

from __future__ import annotations

import math
import types
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from functools import partial
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel, ConfigDict, GetJsonSchemaHandler, StringConstraints, TypeAdapter
from pydantic.fields import FieldInfo
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import PydanticCustomError, core_schema

from supervisor.units import KINDS, Kind, UnitMistake, example, parse, show

NAME = r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$"
Name = Annotated[str, StringConstraints(pattern=NAME, max_length=40)]
"""How channels, supplies, tanks, links, devices and outputs are called: lower-case words with hyphens."""


class Table(BaseModel):
    """One table of a file: nothing unknown, nothing converted in silence, nothing changed later."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


@dataclass(frozen=True)
class Quantity:
    """Marks a float that is written as a text with its unit.

    Attributes:
        kind: what kind of quantity; the float is in its inside unit.
        above: the value must be greater than this.
        least: the value must be this or greater.
        most: the value must be this or less.
    """

    kind: Kind
    above: float = -math.inf
    least: float = -math.inf
    most: float = math.inf

    @property
    def example(self) -> str:
        """One right text."""
        return example(self.kind)

    def read(self, given: object) -> float:
        """Read a value of a file. Raises PydanticCustomError."""
        if not isinstance(given, str):
            number = isinstance(given, int | float) and not isinstance(given, bool)
            problem = f"{given!r} has no unit" if number else "a quantity belongs here"
            raise quantity_error(problem[:80], f'write a text with number and unit, like "{self.example}"')
        try:
            value = parse(given, self.kind)
        except UnitMistake as mistake:
            raise quantity_error(mistake.problem, mistake.right) from mistake
        self._within(given, value)
        return value

    def _within(self, given: str, value: float) -> None:
        bounds = (
            (value > self.above, self.above, "above {}"),
            (value >= self.least, self.least, "{} or more"),
            (value <= self.most, self.most, "{} or less"),
        )
        for holds, bound, words in bounds:
            if not holds:
                right = f"it must be {words.format(self._shown(bound))}"
                raise quantity_error(f"{given!r} is not a possible value", right)

    def _shown(self, bound: float) -> str:
        """Say a bound in both systems: which one the file asks for is not known while it is read."""
        if bound == 0:
            return "0"
        metric, us = show(bound, self.kind, "metric"), show(bound, self.kind, "us")
        return metric if metric == us else f"{metric} ({us})"

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        """Read the text in pydantic's validation."""
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """Describe the text."""
        units = ", ".join(KINDS[self.kind].written)
        described = f"{self.kind} with its unit: {units}"
        return {"type": "string", "description": described, "examples": [self.example]}


def known(*values: object) -> bool:
    """Tell whether all of these came through the reading of the file; what was wrong there is None."""
    return all(value is not None for value in values)


def quantity_error(problem: str, right: str) -> PydanticCustomError:
    """Carry a mistake and what would be right through pydantic."""
    return PydanticCustomError("quantity", "{problem}; {right}", {"problem": problem, "right": right})


def quantity_of(field: FieldInfo) -> Quantity | None:
    """The quantity a field of a model is, if it is one."""
    return next((mark for mark in field.metadata if isinstance(mark, Quantity)), None)


def fields_of(annotation: Any) -> Collection[str]:
    """The keys a table of this kind knows."""
    return annotation.model_fields if _is_table(annotation) else ()


def at(annotation: Any, loc: Iterable[str | int]) -> Any:
    """The type of what stands at `loc` below a value of this type; None where nothing is known of it."""
    for part in loc:
        annotation = _plain(annotation)
        if _is_table(annotation) and part in annotation.model_fields:
            annotation = annotation.model_fields[str(part)].annotation
        elif get_origin(annotation) is dict:
            annotation = get_args(annotation)[1]
        else:
            return None
    return _plain(annotation)


def half_filled(model: type[BaseModel], given: object, bad: Collection[tuple[str | int, ...]]) -> Any:
    """Build the model from what is right in `given`, so that the checks across tables can still run.

    `bad` holds the paths of everything wrong. What is wrong or missing is None, an empty table where a
    table of tables belongs, or a model of which every field is None.
    """
    entries = given if isinstance(given, dict) else {}
    values: dict[str, Any] = {}
    for name, field in model.model_fields.items():
        below = [path[1:] for path in bad if path[:1] == (name,)]
        if name not in entries:
            values[name] = _missing(field)
        elif below:
            values[name] = _rest(_plain(field.annotation), entries[name], below)
        else:
            values[name] = TypeAdapter(field.rebuild_annotation()).validate_python(entries[name])
    return model.model_construct(**values)


def _missing(field: FieldInfo) -> Any:
    if not field.is_required():
        return field.get_default(call_default_factory=True, validated_data={})
    return _rest(_plain(field.annotation), None, [])


def _rest(annotation: Any, given: object, bad: list[tuple[str | int, ...]]) -> Any:
    """What is right of a value in which something is wrong."""
    if _is_table(annotation):
        return half_filled(annotation, given, bad)
    if get_origin(annotation) is dict:
        value = get_args(annotation)[1]
        entries = given if isinstance(given, dict) else {}
        fill = partial(half_filled, value) if _is_table(_plain(value)) else None
        return {k: fill(v, [p[1:] for p in bad if p[:1] == (k,)]) for k, v in entries.items()} if fill else {}
    return None


def _plain(annotation: Any) -> Any:
    """Take off Annotated and None."""
    while get_origin(annotation) in {Annotated, Union, types.UnionType}:
        annotation = next(a for a in get_args(annotation) if a is not type(None))
    return annotation


def _is_table(annotation: Any) -> bool:
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)
