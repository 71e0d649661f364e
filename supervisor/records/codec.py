"""Events, actions and snapshots to and from JSON text, exactly: what is read back equals what was written."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Annotated, Any, TypeVar

from pydantic import ConfigDict, Field, TypeAdapter

from supervisor.core.actions import Action
from supervisor.core.events import Event

Value = TypeVar("Value")

# Strict: a record is read back as it was written or not at all; nothing is guessed from a near miss.
_CONFIG = ConfigDict(strict=True, allow_inf_nan=False)

EVENTS: TypeAdapter[Event] = TypeAdapter(Annotated[Event, Field(discriminator="event")], config=_CONFIG)
ACTIONS: TypeAdapter[tuple[Action, ...]] = TypeAdapter(
    tuple[Annotated[Action, Field(discriminator="action")], ...], config=_CONFIG
)

# json writes floats by repr, which reads back to the same bits, and refuses NaN where pydantic would write null.
_to_json = json.JSONEncoder(allow_nan=False, ensure_ascii=False, separators=(",", ":")).encode


def encode(adapter: TypeAdapter[Value], value: Value) -> str:
    """Return `value` as one line of JSON.

    Raises ValueError where a number is not finite or a text is not Unicode, since neither could be read back.
    """
    text = _to_json(adapter.dump_python(value, mode="json", warnings="error"))
    text.encode()  # a lone surrogate would pass here and fail in the middle of a write to disk
    return text


def decode(adapter: TypeAdapter[Value], text: str) -> Value:
    """Return the value `text` was made from. Raises ValueError, with what is wrong and where, if it is not one."""
    return adapter.validate_json(text)


def encode_event(event: Event) -> str:
    """Return an event as JSON text. Raises ValueError as `encode` does."""
    return encode(EVENTS, event)


def decode_event(text: str) -> Event:
    """Return the event a text was made from. Raises ValueError as `decode` does."""
    return decode(EVENTS, text)


def encode_actions(actions: Sequence[Action]) -> str:
    """Return the actions of one step as a JSON array. Raises ValueError as `encode` does."""
    return encode(ACTIONS, tuple(actions))


def decode_actions(text: str) -> tuple[Action, ...]:
    """Return the actions a text was made from. Raises ValueError as `decode` does."""
    return decode(ACTIONS, text)


_state_adapters: dict[Any, TypeAdapter[tuple[Any]]] = {}


def _adapter_of(kind: Any) -> TypeAdapter[tuple[Any]]:
    """Return the adapter of a snapshot's type, built once: building costs a thousand times a use.

    It is a tuple of one because pydantic takes no settings for a bare dataclass.
    """
    if kind not in _state_adapters:
        _state_adapters[kind] = TypeAdapter(tuple[kind], config=_CONFIG)
    return _state_adapters[kind]


def encode_state(state: object) -> str:
    """Return a snapshot (a frozen dataclass of frozen values) as JSON text. Raises ValueError as `encode` does."""
    return encode(_adapter_of(type(state)), (state,))


def decode_state(kind: type[Value], text: str) -> Value:
    """Return the snapshot of type `kind` a text was made from. Raises ValueError as `decode` does."""
    state: Value = decode(_adapter_of(kind), text)[0]
    return state
