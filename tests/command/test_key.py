"""`logbook key`: made, shown once, listed, taken away."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from logbook.domain.keyring import token_hash

pytestmark = pytest.mark.usefixtures("fleet")


def test_a_key_is_shown_once_and_kept_as_its_hash(
    asked: Callable[..., Any], done: Callable[..., str], home: Path
) -> None:
    made = asked("key", "add", "workshop  desk", "--may", "read, post", "--site", "north-slip", "--as", "ana")
    assert made["label"] == "workshop desk"
    assert made["key"].startswith("mlk_")
    assert len(made["key"]) == 47
    (key,) = asked("key", "list")
    assert (key["id"], key["may"], key["sites"], key["as"]) == (made["id"], ["post", "read"], ["north-slip"], "ana")
    assert made["key"] not in done("key", "list")
    with sqlite3.connect(home / "logbook.sqlite") as database:
        kept = database.execute("select * from api_key").fetchall()
    database.close()
    assert made["key"] not in str(kept)
    assert token_hash(made["key"]) in str(kept)


def test_two_keys_are_never_alike(asked: Callable[..., Any]) -> None:
    assert len({asked("key", "add", "a", "--may", "read")["key"] for _ in range(5)}) == 5


def test_a_key_is_taken_away_once(
    asked: Callable[..., Any], done: Callable[..., str], refused: Callable[..., str]
) -> None:
    made = asked("key", "add", "workshop", "--may", "read")
    assert done("key", "revoke", made["id"]) == "Taken away.\n"
    assert asked("key", "list")[0]["revoked_at"] is not None
    assert (
        refused("key", "revoke", made["id"])
        == f"No key {made['id']!r} is in use. Nothing was changed; see: logbook key list"
    )


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (
            ("a", "--may", "everything"),
            "'everything' is nothing that a key may do; there are read, words, post, lead, alerts.",
        ),
        (("a", "--may", ","), "Say what the key may do; there are read, words, post, lead, alerts. No key was made."),
        ((" ", "--may", "read"), "Give the key a label of 1 to 80 characters"),
        (("a", "--may", "read", "--site", "nowhere"), "There is no site 'nowhere' in this fleet. No key was made."),
        (("a", "--may", "post", "--as", "nobody"), "Nobody in this fleet has the key 'nobody'."),
    ],
)
def test_what_cannot_be_made(
    refused: Callable[..., str], asked: Callable[..., Any], words: tuple[str, ...], said: str
) -> None:
    assert refused("key", "add", *words).startswith(said)
    assert asked("key", "list") == []
