"""Which addresses mail is sent to, and that nothing else can pass for one."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.channels.mail_out.address import AddressError, checked


@pytest.mark.parametrize(
    ("written", "sent"),
    [
        ("ann@ferries.example", "ann@ferries.example"),
        ("ann.o'hara+night@pier-3.ferries.example", "ann.o'hara+night@pier-3.ferries.example"),
        ("ann@ferries", "ann@ferries"),
        ("ann@mañana.example", "ann@xn--maana-pta.example"),
        ("a" * 64 + "@" + "b" * 60 + ".example", "a" * 64 + "@" + "b" * 60 + ".example"),
    ],
)
def test_addresses_that_are(written: str, sent: str) -> None:
    assert checked(written) == sent


@pytest.mark.parametrize(
    "written",
    [
        "", "ann", "@ferries.example", "ann@", "ann@@ferries.example", "ann bo@ferries.example", "ann@ferries .example",
        "ann@ferries.example\r\nRCPT TO:<eve@ferries.example>", "ann@ferries.example\n", "ann\x00@ferries.example",
        "ann@ferries.example\u2028", "ann\x85@ferries.example", "ann\xa0@ferries.example",
        "Ann <ann@ferries.example>", "<ann@ferries.example>", '"ann bo"@ferries.example',
        "ann@ferries.example,bo@x.example",
        ".ann@ferries.example", "ann.@ferries.example", "a..n@ferries.example", "ann@-x.example",
        "ann@x..example",
        "ann@ferries.example.", "ann@[127.0.0.1]", "ann@127.0.0.1", "señora@ferries.example",
        "a" * 65 + "@x.example",
        "ann@" + "b" * 64 + ".example", "ann@" + ".".join(["b" * 60] * 5), "ann@ferries.example> SIZE=1",
    ],
)  # fmt: skip
def test_addresses_that_are_none(written: str) -> None:
    with pytest.raises(AddressError) as told:
        checked(written)
    assert "\n" not in str(told.value)


@given(st.text(max_size=80))
def test_whatever_passes_can_stand_in_a_command(text: str) -> None:
    for written in (text, f"{text}@ferries.example", f"ann@{text}"):
        try:
            sent = checked(written)
        except AddressError:
            continue
        assert sent.isascii()
        assert sent.isprintable()
        assert not set(sent) & set(' <>,;:"\\()[]')
        assert sent.count("@") == 1
