"""The bytes of an entry: made once, read back exactly, and nothing else accepted."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from logbook.domain import instants
from logbook.domain.entries import catalogue
from logbook.evidence.canonical import NotCanonicalError, leaf_hash
from logbook.evidence.form import NO_FORERUNNER, form, instant_text, read

FIELDS: dict[str, Any] = {
    "v": 1, "log": "ferry.example/floors", "machine": "0192d5c8-0000-7000-8000-00000000000b", "seq": 1,
    "prev": NO_FORERUNNER, "id": "0192d5c8-0000-7000-8000-000000000001", "kind": "commissioned",
    "occurred_at": 1_773_048_600_000_000, "recorded_at": 1_773_048_600_250_000, "reporter": "p-7Q", "role": "owner",
    "channel": "form", "data": {"site": "north-slip", "battery": "flooded"}, "private": {"note": "0" * 64},
}  # fmt: skip
FORMED = form(**FIELDS)
YEARS = st.integers(instants.parse("0001-01-01T00:00:00Z"), instants.parse("9999-12-31T23:59:59.999999Z"))


def test_the_very_bytes_of_one_entry_for_ever() -> None:
    # Written out by hand: should this test ever fail, the logs already written could no longer be extended.
    assert FORMED == (
        b'{"channel":"form","data":{"battery":"flooded","site":"north-slip"},'
        b'"id":"0192d5c8-0000-7000-8000-000000000001","kind":"commissioned","log":"ferry.example/floors",'
        b'"machine":"0192d5c8-0000-7000-8000-00000000000b","occurred_at":"2026-03-09T09:30:00Z",'
        b'"prev":"0000000000000000000000000000000000000000000000000000000000000000",'
        b'"private":{"note":"0000000000000000000000000000000000000000000000000000000000000000"},'
        b'"recorded_at":"2026-03-09T09:30:00.25Z","reporter":"p-7Q","role":"owner","seq":1,"v":1}'
    )
    assert leaf_hash(FORMED) == "119c3f0c8a7d67b0c84986d4c3d3a50e74df954e4ca62409feb91deb6415ccbb"


def test_the_bytes_are_canonical_for_an_independent_package() -> None:
    assert rfc8785.dumps(json.loads(FORMED)) == FORMED


@pytest.mark.parametrize("kind", list(catalogue), ids=lambda kind: str(kind.kind))
def test_every_kind_of_the_catalogue_can_be_written_and_read(kind: Any) -> None:
    data = {name: value for name, value in kind.example.items() if name not in kind.private_fields()}
    formed = read(form(**{**FIELDS, "kind": kind.kind, "data": data}))
    assert (formed.kind, formed.data) == (kind.kind, data)


def test_reading_gives_back_what_was_written() -> None:
    formed = read(FORMED)
    for name, value in FIELDS.items():
        said = getattr(formed, name)
        assert said == (instants.text(value) if name.endswith("_at") else value), name


@given(YEARS)
def test_the_quick_spelling_of_an_instant_is_the_one_canonical_form(instant: int) -> None:
    assert instant_text(instant) == instants.text(instant)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("seq", 0),
        ("seq", 2**53),
        ("prev", "abc"),
        ("data", {"mm": 6.35}),
        ("data", {"n": 2**53}),
        ("reporter", "\ud800"),
    ],
)
def test_what_cannot_be_canonical_is_refused_when_formed(field: str, value: Any) -> None:
    with pytest.raises(NotCanonicalError):
        form(**{**FIELDS, field: value})


def test_endless_nesting_is_refused_when_formed() -> None:
    deep: list[Any] = []
    for _ in range(100_000):
        deep = [deep]
    with pytest.raises(NotCanonicalError, match="deep"):
        form(**{**FIELDS, "data": {"deep": deep}})
    while deep:
        deep = deep.pop()


DAMAGE: dict[str, Callable[[bytes], bytes]] = {
    "a key twice": lambda b: b.replace(b'"role":"owner"', b'"role":"cleaner","role":"owner"'),
    "a key twice in the data": lambda b: b.replace(b'{"battery"', b'{"battery":"lithium","battery"'),
    "a space": lambda b: b.replace(b'"seq":1', b'"seq": 1'),
    "a line break after it": lambda b: b + b"\n",
    "another order": lambda b: b.replace(b'"seq":1,"v":1', b'"v":1,"seq":1'),
    "another escape": lambda b: b.replace(b"owner", b"\\u006fwner"),
    "an unknown field": lambda b: b.replace(b'"v":1', b'"v":1,"w":1'),
    "a field left out": lambda b: b.replace(b',"v":1', b""),
    "a float": lambda b: b.replace(b'{"battery"', b'{"a":1.5,"battery"'),
    "a float for seq": lambda b: b.replace(b'"seq":1', b'"seq":1.0'),
    "text for seq": lambda b: b.replace(b'"seq":1', b'"seq":"1"'),
    "seq 0": lambda b: b.replace(b'"seq":1', b'"seq":0'),
    "a number too large": lambda b: b.replace(b'{"battery"', b'{"a":9007199254740992,"battery"'),
    "a key that is not ASCII": lambda b: b.replace(b'{"battery"', '{"é":1,"battery"'.encode()),
    "a private key that is not ASCII": lambda b: b.replace(b'{"note"', '{"é":"1","note"'.encode()),
    "a list": lambda b: b"[" + b + b"]",
    "cut short": lambda b: b[:-1],
    "not UTF-8": lambda b: b.replace(b"owner", b"\xff"),
    "nothing": lambda _: b"",
    "nested too deeply": lambda b: b.replace(b'{"battery"', b'{"a":' + b"[" * 100_000 + b"]" * 100_000 + b',"battery"'),
}


@pytest.mark.parametrize("damage", DAMAGE)
def test_bytes_that_are_not_exactly_an_entry_are_refused(damage: str) -> None:
    damaged = DAMAGE[damage](FORMED)
    assert damaged != FORMED
    with pytest.raises(NotCanonicalError):
        read(damaged)
