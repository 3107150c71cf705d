"""Canonical bytes and leaf hashes, against published vectors and an independent package."""

from __future__ import annotations

import hashlib
import json
from enum import IntEnum
from typing import Any

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from logbook.evidence.canonical import LARGEST, NotCanonicalError, canonical, leaf_hash

ASCII = st.text(st.characters(max_codepoint=127))
TEXT = st.text(st.characters(exclude_categories=["Cs"]))
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-LARGEST, LARGEST) | TEXT,
    lambda inner: st.lists(inner) | st.dictionaries(ASCII, inner),
    max_leaves=30,
)


@given(VALUES)
def test_the_bytes_are_those_of_an_independent_package(value: Any) -> None:
    assert canonical(value) == rfc8785.dumps(value)


@given(VALUES)
def test_the_bytes_are_those_of_the_standard_library_for_ascii_keys(value: Any) -> None:
    plain = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert canonical(value) == plain.encode()


def test_every_character_of_the_first_planes_is_spelt_as_the_independent_package_spells_it() -> None:
    every = "".join(chr(code) for code in range(0x11000) if not 0xD800 <= code <= 0xDFFF)
    assert canonical(every) == rfc8785.dumps(every)


def test_control_characters_are_escaped_as_rfc_8785_section_3_2_2_2_says_and_del_is_not() -> None:
    assert canonical('\x00\b\t\n\x0b\f\r\x1f"\\/\x7f\u2028') == (
        b'"\\u0000\\b\\t\\n\\u000b\\f\\r\\u001f\\"\\\\/\x7f\xe2\x80\xa8"'
    )


def test_the_sample_of_rfc_8785_without_its_floats() -> None:
    # RFC 8785 §3.2.2 and §3.2.4, from the document. The whole sample (118 bytes, SHA-256 2d5e01a3...aacb) holds
    # floats, which no entry may: the independent oracle is held to it, and our encoder to the oracle's rest.
    sample: dict[str, Any] = {
        "numbers": [333333333.33333329, 1e30, 4.50, 2e-3, 0.000000000000000000000000001],
        "string": '\u20ac$\u000f\nA\'B"\\\\"/',
        "literals": [None, True, False],
    }
    whole = rfc8785.dumps(sample)
    assert len(whole) == 118
    assert hashlib.sha256(whole).hexdigest() == "2d5e01a318d0f0879ab568c4be289c8b1f64ef8921a53c6277d5e069978baacb"
    with pytest.raises(NotCanonicalError, match="fraction"):
        canonical(sample)
    numbers = b'"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
    del sample["numbers"]
    assert canonical(sample) == whole.replace(numbers, b"")


class _Enum(IntEnum):
    ONE = 1


class _Text(str):
    __slots__ = ()


@pytest.mark.parametrize(
    ("value", "sentence"),
    [
        (1.0, "fraction"),
        ({"a": [0.5]}, "fraction"),
        (2**53, "too large"),
        (-(2**53), "too large"),
        ({"clé": 1}, "not plain ASCII"),
        ({1: 1}, "not plain ASCII"),
        ("\ud800", r"U\+D800"),
        ({"a": ["x\udfff"]}, r"U\+DFFF"),
        ((1, 2), "type tuple"),
        (b"x", "type bytes"),
        (_Enum.ONE, "type _Enum"),
        ([_Text("x")], "type _Text"),
    ],
)
def test_what_has_no_single_spelling_is_refused(value: Any, sentence: str) -> None:
    with pytest.raises(NotCanonicalError, match=sentence):
        canonical(value)


def test_nesting_without_end_is_refused() -> None:
    deep: list[Any] = []
    for _ in range(100_000):
        deep = [deep]
    with pytest.raises(NotCanonicalError, match="deep"):
        canonical(deep)
    while deep:  # taken apart by hand: the interpreter would recurse too
        deep = deep.pop()


def test_the_bounds_themselves_are_accepted() -> None:
    assert canonical([LARGEST, -LARGEST]) == b"[9007199254740991,-9007199254740991]"


LEAVES = ["", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"]
ROOTS = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]


def _root(leaves: list[bytes]) -> str:
    """RFC 6962 §2.1, written down as it stands there; only our leaf hash is under test."""
    if not leaves:
        return hashlib.sha256(b"").hexdigest()
    if len(leaves) == 1:
        return leaf_hash(leaves[0])
    cut = 1 << (len(leaves) - 1).bit_length() - 1
    halves = bytes.fromhex(_root(leaves[:cut])) + bytes.fromhex(_root(leaves[cut:]))
    return hashlib.sha256(b"\x01" + halves).hexdigest()


@pytest.mark.parametrize("size", range(9))
def test_leaf_hashes_build_the_published_merkle_roots(size: int) -> None:
    # The leaves and roots that implementations of RFC 6962 have shared since its first one.
    assert _root([bytes.fromhex(leaf) for leaf in LEAVES[:size]]) == ROOTS[size]


def test_the_hash_itself_is_sha_256() -> None:
    # NIST FIPS 180-4, example "abc".
    published = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert hashlib.sha256(b"abc").hexdigest() == published
    assert leaf_hash(b"abc") != published  # a leaf is not a bare hash: RFC 6962 puts 0x00 in front
    assert leaf_hash(b"abc") == hashlib.sha256(b"\x00abc").hexdigest()
