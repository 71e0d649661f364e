"""Sentences as bytes: what is one, what is none, and that one byte's error never makes another of it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from drivers.sentences import LONGEST, Sentence, check_sum, decimal, decode, encode, values

NAMES = st.from_regex(r"[a-z][a-z0-9-]{0,7}", fullmatch=True)
FIELDS = st.lists(
    st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E, exclude_characters=",$*"), max_size=12),
    min_size=1,
    max_size=8,
)
SENTENCES = st.builds(
    lambda word, number, fields: Sentence(word, number, tuple(fields)),
    st.sampled_from(["READ", "BEAT", "DONE", "NOT", "SET", "KEEP"]),
    st.integers(0, 65535),
    FIELDS,
)


def test_the_check_sum_is_that_of_the_published_example() -> None:
    """NMEA 0183, its widely printed example of a GLL sentence (from memory)."""
    assert check_sum(b"GPGLL,4916.45,N,12311.12,W,225444,A,") == b"1D"


def test_a_sentence_has_exactly_these_bytes() -> None:
    """The check sum was worked out by hand, byte by byte."""
    assert encode(Sentence("SET", 5, ("fan=1",))) == b"$SET,5,fan=1*12\r\n"
    assert decode(b"$SET,5,fan=1*12\r\n") == Sentence("SET", 5, ("fan=1",))


@given(SENTENCES)
def test_what_is_encoded_decodes_to_itself(sentence: Sentence) -> None:
    assert decode(encode(sentence)) == sentence


@given(SENTENCES, st.data())
def test_no_single_wrong_byte_is_ever_accepted(sentence: Sentence, data: st.DataObject) -> None:
    line = encode(sentence)
    place = data.draw(st.integers(0, len(line) - 1))
    wrong = data.draw(st.integers(0, 255).filter(lambda byte: byte != line[place]))
    for piece in (line[:place] + bytes([wrong]) + line[place + 1 :]).splitlines(keepends=True):
        with pytest.raises(ValueError, match=r"."):
            decode(piece)


@given(SENTENCES, st.data())
def test_no_part_of_a_sentence_is_one(sentence: Sentence, data: st.DataObject) -> None:
    line = encode(sentence)
    cut = data.draw(st.integers(1, len(line) - 1))
    for piece in (line[:cut], line[cut:]):
        with pytest.raises(ValueError, match="no whole sentence"):
            decode(piece)


@given(st.binary(max_size=40))
@example(b"")
@example(b"$*00\r\n")
def test_noise_is_refused_with_a_reason_and_nothing_else_happens(noise: bytes) -> None:
    with pytest.raises(ValueError, match=r"."):
        decode(noise)


def framed(body: bytes) -> bytes:
    return b"$%b*%b\r\n" % (body, check_sum(body))


NONE = {
    "no line feed": framed(b"READ,1,t1=2")[:-1],
    "no carriage return": framed(b"READ,1,t1=2")[:-2] + b"\n",
    "a byte before it": b"\x00" + framed(b"READ,1,t1=2"),
    "small digits in the check sum": b"$READ,3,t1=2*6b\r\n",
    "a second dollar": framed(b"READ,1,t1=2$READ,1,t1=2"),
    "no number": framed(b"READ,,t1=2"),
    "a number with a nought before it": framed(b"READ,01,t1=2"),
    "a number too great": framed(b"READ,65536,t1=2"),
    "no fields": framed(b"READ,1"),
    "small letters": framed(b"read,1,t1=2"),
    "bytes beyond ASCII": framed(b"READ,1,t\xb5=2"),
    "too long": framed(b"READ,1," + b"x" * LONGEST),
}


@pytest.mark.parametrize("line", NONE.values(), ids=NONE.keys())
def test_what_is_not_exactly_one_sentence_is_none(line: bytes) -> None:
    with pytest.raises(ValueError, match=r"."):
        decode(line)


def test_a_sentence_of_the_longest_length_is_one_and_a_byte_more_is_none() -> None:
    body = b"READ,1,"
    fits = framed(body + b"x" * (LONGEST - 6 - len(body)))
    assert len(fits) == LONGEST
    decode(fits)
    with pytest.raises(ValueError, match="longer than 250 bytes"):
        decode(framed(body + b"x" * (LONGEST - 5 - len(body))))


def test_values_are_read_by_name_and_an_empty_one_is_none() -> None:
    told = values(Sentence("READ", 17, ("t1=20.56", "t2=", "cj=-4", "e1=+812.4", "level=1")))
    assert told == {"t1": 20.56, "t2": None, "cj": -4.0, "e1": 812.4, "level": 1.0}


@pytest.mark.parametrize("field", ["t1", "=1", "T1=1", "1t=1", f"{'a' * 25}=1", "t1=1.", "t1=.5", "t1=1e3", "t1= 1"])
def test_any_other_field_is_refused(field: str) -> None:
    with pytest.raises(ValueError, match=r"no value with a name|no decimal number"):
        values(Sentence("READ", 1, (field,)))


def test_one_name_twice_is_refused() -> None:
    with pytest.raises(ValueError, match="no value with a name of its own"):
        values(Sentence("READ", 1, ("t1=1", "t1=2")))


@pytest.mark.parametrize("text", ["nan", "inf", "1_0", "0x10", "--1", "", "٣"])
def test_what_only_a_program_takes_for_a_number_is_none(text: str) -> None:
    with pytest.raises(ValueError, match="no decimal number"):
        decimal(text)


@given(NAMES, st.decimals(-10_000, 10_000, places=3))
def test_a_value_comes_through_as_it_was_told(name: str, value: object) -> None:
    told = values(decode(encode(Sentence("READ", 0, (f"{name}={value}",)))))
    assert told == {name: float(str(value))}


@pytest.mark.parametrize("field", ["a,b", "a*b", "a$b", "a\r\nb"])
def test_what_could_not_be_read_back_is_not_sent(field: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        encode(Sentence("SET", 1, (field,)))


def test_the_sentences_in_the_docs_are_sentences() -> None:
    docs = (Path(__file__).parents[2] / "docs" / "board-sentence.md").read_text(encoding="utf-8")
    shown = [line.strip() for line in docs.splitlines() if re.match(r" +\$[A-Z]+,", line)]
    words = [decode(f"{line}\r\n".encode()).word for line in shown]
    assert words == ["READ", "BEAT", "SET", "KEEP", "DONE", "NOT"]
