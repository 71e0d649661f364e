"""What a board says and hears, for its tests."""

from __future__ import annotations

from drivers.board_sentence import BoardSentence
from drivers.sentences import Sentence, decode, encode

ALL = ("t1", "emf", "cj", "level", "fan", "heartbeat")


def said(word: str, number: int, *fields: str) -> bytes:
    return encode(Sentence(word, number, fields))


async def told(board: BoardSentence, *due: str) -> dict[str, float | None]:
    return dict((await board.read(due or ALL)).values)


def order_of(line: str) -> Sentence:
    return decode(line.encode() + b"\r\n")


def obeying(line: str) -> bytes:
    """What a board answers that does as it is told."""
    order = order_of(line)
    return said("DONE", order.number, *order.fields)
