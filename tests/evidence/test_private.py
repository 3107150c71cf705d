"""Salted commitments to private words."""

from __future__ import annotations

import hashlib

import pytest

from logbook.evidence.private import commit, opens

SALT = bytes(range(32))


def test_a_commitment_is_the_hash_of_salt_and_content() -> None:
    assert commit(b"abc", SALT) == hashlib.sha256(SALT + b"abc").hexdigest()


def test_it_opens_to_its_own_words_alone() -> None:
    made = commit("wrong machine, é".encode(), SALT)
    assert opens(made, "wrong machine, é".encode(), SALT)
    assert not opens(made, b"wrong machine", SALT)
    assert not opens(made, "wrong machine, é".encode(), SALT[::-1])
    assert not opens(made, SALT[-1:] + "wrong machine, é".encode(), SALT[:-1])


def test_the_same_words_twice_cannot_be_seen_to_be_the_same() -> None:
    assert commit(b"9025550123", SALT) != commit(b"9025550123", SALT[::-1])


@pytest.mark.parametrize("salt", [b"", b"short", bytes(33)])
def test_a_salt_of_another_length_is_refused(salt: bytes) -> None:
    with pytest.raises(ValueError, match="32 bytes"):
        commit(b"x", salt)
