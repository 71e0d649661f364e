"""What of the states is yet to be published: the newest of each topic and nothing older, each at most once a second."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from enum import Enum, auto

from supervisor.edges.payloads import AlarmPayload, Payload

LEAST_S = 1.0
"""Time between the end of one message of a topic and the beginning of the next."""


class _Never(Enum):
    """Stands for what a broker was told when that is not known."""

    TOLD = auto()


@dataclass(slots=True)
class _Slot:
    """One topic: what is to be known of it (None: that nothing is retained), what is, and since when."""

    wanted: Payload | None
    told: Payload | _Never | None = _Never.TOLD
    ended_s: float = -math.inf
    used: bool = False

    @property
    def news(self) -> bool:
        if self.wanted is None or self.told is None:
            return self.wanted is not self.told
        return self.told is _Never.TOLD or self.wanted.news() != self.told.news()


class Latest:
    """The newest state by topic.

    An alarm that is no longer among the states is told as normal once and then cleared, so that none is left lying;
    so are those that a run before may have left.
    """

    def __init__(self, possible_alarms: Iterable[str], normal: Callable[[AlarmPayload], AlarmPayload]) -> None:
        """`possible_alarms` are topics to be clear unless offered; `normal` tells an alarm as normal."""
        self._normal = normal
        self._slots = {topic: _Slot(None) for topic in possible_alarms}

    def offer(self, states: Mapping[str, Payload]) -> int:
        """Take over how everything stands now: all topics, as from one look. Return how many states nobody got."""
        missed = sum(self._want(self._slots.setdefault(t, _Slot(payload)), payload) for t, payload in states.items())
        for topic in self._slots.keys() - states.keys():
            slot = self._slots[topic]
            if isinstance(slot.wanted, AlarmPayload) and slot.wanted.state != "normal":
                missed += self._want(slot, self._normal(slot.wanted))
        return missed

    @staticmethod
    def _want(slot: _Slot, payload: Payload) -> bool:
        """Say whether a state was replaced by a newer one before it was published."""
        before = slot.wanted if slot.used and slot.news else None
        slot.wanted, slot.used = payload, True
        return before is not None and before.news() != payload.news()

    def forget(self) -> None:
        """Forget what was told: a new connection may be to a broker that knows nothing."""
        for slot in self._slots.values():
            if slot.used or slot.told is not None:
                slot.told = _Never.TOLD

    def due(self, now_s: float) -> tuple[str, Payload | None] | None:
        """Return the topic that may and must be published now and has waited longest, what is to be cleared last."""
        found = [(t, slot) for t, slot in self._slots.items() if slot.news and slot.ended_s + LEAST_S <= now_s]
        if not found:
            return None
        topic, slot = min(found, key=lambda entry: (entry[1].wanted is None, entry[1].ended_s))
        return topic, slot.wanted

    def wait_s(self, now_s: float) -> float | None:
        """Return how long it takes until something is due, s; None where nothing is waiting."""
        waits = [slot.ended_s + LEAST_S - now_s for slot in self._slots.values() if slot.news]
        return max(0.0, min(waits)) if waits else None

    def rest_s(self, topic: str, now_s: float) -> float:
        """Return how long a topic must rest yet, s."""
        slot = self._slots.get(topic)
        return 0.0 if slot is None else max(0.0, slot.ended_s + LEAST_S - now_s)

    def ended(self, topic: str, payload: Payload | None, now_s: float, *, ok: bool) -> None:
        """Take note that a message was acknowledged, or given up: then it may have arrived or yet arrive."""
        slot = self._slots[topic]
        slot.ended_s = now_s
        slot.told = payload if ok else _Never.TOLD
        if ok and slot.wanted is payload and isinstance(payload, AlarmPayload) and payload.state == "normal":
            slot.wanted = None
