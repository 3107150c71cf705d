"""Whose word is believed about a sender (RFC 8601), and what a stranger writes to be believed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.channels.mail_in.auth import Verdict, read, verdict
from logbook.channels.mail_in.author import author

OURS = {"mx.ferry.example"}
YES, NO, FORGED = Verdict.AUTHENTICATED, Verdict.UNPROVED, Verdict.FORGED


def judged(*values: str, sender: str = "ana@ferry.example", most: int = 1) -> Verdict:
    """The verdict on a mail with these Authentication-Results, topmost first."""
    return verdict([("authentication-results", value) for value in values], sender, OURS, most)


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        ("mx.ferry.example; dmarc=pass header.from=ferry.example", YES),
        ("MX.Ferry.Example 1; DMARC=PASS (p=none) header.from=Ferry.Example", YES),
        ("mx.ferry.example;\tdkim=pass (2048-bit key; it says) header.d=ferry.example header.i=@ferry.example", YES),
        ('mx.ferry.example; dkim=pass reason="good; signature" header.d=ferry.example', YES),
        ("mx.ferry.example; dkim=fail header.d=x.example; dkim=pass header.d=ferry.example", YES),
        ("mx.ferry.example; dkim=pass header.i=ana@ferry.example", YES),
        ("mx.ferry.example; spf=pass smtp.mailfrom=ana@ferry.example", YES),
        ("mx.ferry.example; spf=pass smtp.mailfrom=ferry.example", YES),
        ("mx.ferry.example; auth=pass (cram-md5) smtp.auth=ana@ferry.example", YES),
        ("mx.ferry.example/1; dkim=pass header.d=ferry.example", NO),
        ("mx.ferry.example; none", NO),
        ("mx.ferry.example", NO),
        ("mx.ferry.example 2; dkim=pass header.d=ferry.example", NO),
        # Somebody passed, but not this sender's domain.
        ("mx.ferry.example; dkim=pass header.d=evil.example; spf=pass smtp.mailfrom=x@evil.example", NO),
        ("mx.ferry.example; dkim=pass header.d=ferry.example.evil.example", NO),
        ("mx.ferry.example; dkim=pass header.d=evilferry.example", NO),
        ("mx.ferry.example; dkim=pass header.d=customer.ferry.example", NO),
        ("mx.ferry.example; dkim=pass header.d=example", NO),
        ("mx.ferry.example; dmarc=pass header.from=evil.example", NO),
        ("mx.ferry.example; spf=pass smtp.helo=ferry.example", NO),
        ("mx.ferry.example; auth=pass smtp.auth=jo@ferry.example", NO),
        ("mx.ferry.example; dkim=none; spf=softfail smtp.mailfrom=ana@ferry.example", NO),
        ("mx.ferry.example; dkim=temperror header.d=ferry.example", NO),
        ("mx.ferry.example; iprev=pass policy.iprev=192.0.2.1", NO),
        # What the server found to be false.
        ("mx.ferry.example; dmarc=fail header.from=ferry.example; spf=pass smtp.mailfrom=ferry.example", FORGED),
        ("mx.ferry.example; dmarc=fail (p=reject) header.from=ferry.example", FORGED),
        ("mx.ferry.example; spf=fail smtp.mailfrom=ana@ferry.example", FORGED),
        # Another server's word, and what only looks like ours.
        ("mx.other.example; dmarc=pass header.from=ferry.example", NO),
        ("mx.ferry.example.evil.example; dmarc=pass header.from=ferry.example", NO),
        ("(mx.ferry.example) evil.example; dmarc=pass header.from=ferry.example", NO),
        ("", NO),
        # A stranger's words inside our server's field: in a comment, in quotes, twice, unclosed.
        ('mx.ferry.example; spf=pass smtp.mailfrom="a; dkim=pass header.d=ferry.example; x="@evil.example', NO),
        ("mx.ferry.example; spf=pass (helo is dkim=pass header.d=ferry.example) smtp.mailfrom=x@evil.example", NO),
        ("mx.ferry.example; spf=pass (a (b) ; dmarc=pass header.from=ferry.example) smtp.mailfrom=evil.example", NO),
        ("mx.ferry.example; dkim=pass header.d=evil.example header.d=ferry.example", NO),
        ("mx.ferry.example; spf=pass (never closed; dmarc=pass header.from=ferry.example", NO),
        ('mx.ferry.example; spf=none reason="never closed; dmarc=pass header.from=ferry.example', NO),
        ("mx.ferry.example; x=y dmarc=pass header.from=ferry.example", NO),
    ],
)
def test_one_field(value, expected):
    assert judged(value) is expected


PASS = "mx.ferry.example; dmarc=pass header.from=ferry.example"


def test_a_domain_above_vouches_for_one_below():
    assert judged("mx.ferry.example; dkim=pass header.d=ferry.example", sender="ana@north.ferry.example") is YES


def test_only_the_topmost_counts():
    assert judged(PASS, "mx.other.example; dmarc=fail header.from=ferry.example") is YES
    assert judged(PASS, PASS.replace("pass", "fail")) is YES
    assert judged("mx.ferry.example; dkim=none", PASS) is FORGED
    assert judged("mx.other.example; dkim=none", PASS) is FORGED
    assert judged("mx.other.example; dkim=none", "mx.other.example; dmarc=pass header.from=ferry.example") is NO
    assert judged() is NO
    assert judged(*["mx.other.example; none"] * 10_000, PASS) is FORGED


def test_as_many_as_our_server_writes_each_time_count():
    spf, dkim = "mx.ferry.example; spf=none", "mx.ferry.example; dkim=pass header.d=ferry.example"
    assert judged(spf, dkim, most=2) is YES
    assert judged(spf, spf, dkim, most=2) is FORGED
    assert judged(spf, "mx.other.example; none", dkim, most=2) is FORGED


def test_without_a_name_of_ours_nobody_is_believed():
    assert verdict([("authentication-results", PASS)], "ana@ferry.example", set()) is NO
    assert verdict([("arc-authentication-results", f"i=1; {PASS}"), ("x-authentication-results", PASS)],
                   "ana@ferry.example", OURS) is NO  # fmt: skip


@given(st.text(alphabet='mx.ferry.example;=dkipasheader.d "\\()1@', max_size=200))
def test_nothing_that_is_written_there_brings_it_down(value):
    name, results = read(value)
    assert name == name.lower()
    assert all(result.method for result in results)


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        ("ana@ferry.example", "ana@ferry.example"),
        ("Ana Silva <Ana@Ferry.Example>", "ana@ferry.example"),
        ('"Silva, Ana" <ana@ferry.example>', "ana@ferry.example"),
        ('"jo@ferry.example" <ana@evil.example>', "ana@evil.example"),
        ("=?utf-8?q?jo=40ferry.example_=3Cjo=40ferry.example=3E?= <ana@evil.example>", "ana@evil.example"),
        ("ana@ferry.example (jo@evil.example)", "ana@ferry.example"),
        ("Ana (a \\) comment <jo@evil.example>) <ana@ferry.example>", "ana@ferry.example"),
        ("Ana <ana@añejo.example>", "ana@xn--aejo-gqa.example"),
        ("ana@ferry.example, jo@ferry.example", None),
        ("<ana@ferry.example> <jo@ferry.example>", None),
        ("jo@ferry.example <ana@ferry.example> x", None),
        ("<jo@evil.example@ferry.example>", None),
        ("undisclosed:;", None),
        ("Ana <ana@ferry.example", None),
        ('"Ana <ana@ferry.example>', None),
        ("<@evil.example:ana@ferry.example>", None),
        ('"a b"@ferry.example', None),
        ("", None),
        ("<>", None),
    ],
)  # fmt: skip
def test_one_sender_or_none(value, expected):
    assert author([value]) == expected


def test_two_from_fields_name_nobody():
    assert author(["ana@ferry.example", "ana@ferry.example"]) is None
    assert author([]) is None
