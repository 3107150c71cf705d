"""From octets to words: encodings, parts, machines, ids, and mail that was made to do harm."""

from __future__ import annotations

import base64
import quopri
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.channels.mail_in import Reason, charsets
from logbook.channels.mail_in.reading import Mail, read
from tests.channels.mail_in.mails import OURS, PROVED, mail


def got(octets: bytes, arrived: str = "") -> Mail:
    return read(octets, {OURS}, 1, arrived)


# -- encodings ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("octets", "declared"),
    [
        ("vacié".encode(), "utf-8"),
        ("vacié".encode(), "iso-8859-1"),  # lies
        ("vacié".encode(), "us-ascii"),  # lies
        ("vacié".encode(), "no-such-thing"),
        ("vacié".encode(), ""),
        ("vacié".encode(), "utf-16"),  # lies
        ("vacié".encode("latin-1"), "iso-8859-1"),
        ("vacié".encode("latin-1"), "utf-8"),  # lies
        ("vacié".encode("latin-1"), ""),
        ("vacié".encode("cp1252"), '"windows-1252"'),
        ("vacié".encode("cp850"), "cp850"),
        ("vacié".encode("utf-16"), "utf-16"),
        ("vacié".encode("utf-16-be"), "utf-16be"),
        (b"\xef\xbb\xbf" + "vacié".encode(), "utf-8"),
        ("vacié".encode(), "zlib"),
        ("vacié".encode(), "unicode_escape"),
        ("vacié".encode(), "x" * 10_000),
        ("vacié".encode(), "ütf"),
    ],
)
def test_a_charset_and_lies_about_it(octets, declared):
    assert charsets.decode(octets, declared) == "vacié"


@given(
    st.binary(max_size=300), st.sampled_from(["utf-8", "utf-16", "utf-7", "gb18030", "iso2022_jp", "hex", "idna", ""])
)
def test_any_octets_become_text_that_can_be_kept(octets, declared):
    text = charsets.clean(charsets.decode(octets, declared))
    assert "\0" not in text
    assert text.encode("utf-8").decode("utf-8") == text


@pytest.mark.parametrize(
    ("how", "body"),
    [
        ("base64", base64.encodebytes("B7H vacié".encode())),
        ("base64", base64.encodebytes("B7H vacié".encode()).rstrip(b"=\n")),
        ("BASE64", b" ".join([base64.b64encode("B7H vacié".encode())[n : n + 1] for n in range(16)])),
        ("quoted-printable", quopri.encodestring("B7H vacié".encode())),
        ("quoted-printable", b"B7H vaci=C3=\n=A9"),
        ("8bit", "B7H vacié".encode()),
        ("x-unknown", "B7H vacié".encode()),
    ],
)
def test_an_encoding(how, body):
    assert got(mail(body, more=f"Content-Transfer-Encoding: {how}")).text == "B7H vacié"


def test_lines_that_flow():
    body = "B7H squeegee broken at the \nleft end\n> quoted C4J \n> rinse\n-- \nAna"
    assert got(mail(body, type="text/plain; format=flowed")).text == "B7H squeegee broken at the left end"
    deleted = got(mail("B7H rin \nsed", type="text/plain; format=flowed; delsp=yes"))
    assert deleted.text == "B7H rinsed"


# -- parts ----------------------------------------------------------------------------------------------------------


def multi(kind: str, *parts: str, boundary: str = "=_b") -> bytes:
    body = "".join(f"--{boundary}\n{part}\n" for part in parts) + f"--{boundary}--\n"
    return mail(
        "This is for old programs: C4J rinse\n" + body + "C4J rinse", type=f'multipart/{kind}; boundary="{boundary}"'
    )


PLAIN, HTML = "Content-Type: text/plain\n\nB7H rinsed", "Content-Type: text/html\n\n<p>B7H <b>rinsed</b></p>"


@pytest.mark.parametrize(
    "octets",
    [
        multi("alternative", PLAIN, HTML),
        multi("alternative", HTML, PLAIN),
        multi("alternative", "Content-Type: text/plain\n\n  ", HTML),
        multi("alternative", "Content-Type: text/calendar\n\nC4J", HTML),
        multi("mixed", PLAIN, "Content-Type: image/jpeg\nContent-Transfer-Encoding: base64\n\nQzRK"),
        multi("mixed", PLAIN, "Content-Type: text/plain\nContent-Disposition: attachment; filename=a.txt\n\nC4J rinse"),
        multi("mixed", PLAIN, "Content-Type: message/rfc822\n\nFrom: jo@ferry.example\n\nC4J rinse"),
        multi("mixed", PLAIN + "\n-----Original Message-----\n", "Content-Type: text/plain\n\nC4J rinse"),
        multi("signed", PLAIN, "Content-Type: application/pgp-signature\n\nC4J"),
        multi("related", HTML, "Content-Type: text/plain\n\nC4J rinse"),
        multi("mixed", "\nB7H rinsed"),
        multi("unheard-of", PLAIN),
        mail(multi("mixed", PLAIN).split(b"\r\n\r\n", 1)[1], type="multipart/mixed; boundary = \"=_b\" ; x"),
        mail(type="nonsense"), mail(type=""), mail(type='text/plain; charset="; x=y'),
    ],
)  # fmt: skip
def test_which_part_speaks(octets):
    assert (got(octets).text, got(octets).aside) == ("B7H rinsed", None)


@pytest.mark.parametrize(
    ("subject", "body", "more", "expected"),
    [
        ("B7H rinsed", "", "", "B7H rinsed"),
        ("B7H rinsed", "Sent from my phone", "", "B7H rinsed"),
        ("=?utf-8?q?B7H_vaci=C3=A9?=", "\n\n", "", "B7H vacié"),
        ("=?utf-8?b?QjdIIHZhY2k=?= =?iso-8859-1?q?=E9?=", "", "", "B7H vacié"),
        ("[EXTERNAL] B7H rinsed", "", "", "B7H rinsed"),
        ("B7H: rinsed", "", "", "B7H: rinsed"),
        ("B7H rinsed", "C4J charge", "", "C4J charge"),
        # The subject of a reply or a forwarded mail is somebody else's.
        ("Re: B7H rinsed", "", "", None),
        ("RE[2]: B7H rinsed", "-- \nAna", "", None),
        ("RV: B7H rinsed", "", "", None),
        ("B7H rinsed", "", "In-Reply-To: <x@ferry.example>", None),
        ("B7H rinsed", "> B7H rinsed", "", None),
        ("B7H rinsed", "____\nFrom: Jo\nSent: now\n", "", None),
        ("", "", "", None),
    ],
)
def test_the_subject_speaks_only_where_the_body_does_not(subject, body, more, expected):
    found = got(mail(body, subject=subject, more=more))
    if expected is None:
        assert found.aside is Reason.EMPTY
    else:
        assert (found.text, found.aside) == (expected, None)


# -- machines -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "field",
    [
        "Return-Path: <>", "Return-Path: < >", "Auto-Submitted: auto-replied", "auto-submitted: Auto-Generated; x=y",
        "Auto-Submitted: (no) auto-notified", "List-Id: <crew.ferry.example>", "Precedence: bulk", "Precedence: JUNK",
        "Precedence: list", "X-Auto-Response-Suppress: All", "X-Auto-Response-Suppress: DR, OOF", "X-Autoreply: yes",
        "List-Unsubscribe: <mailto:x@ferry.example>",
    ],
)  # fmt: skip
def test_a_machine(field):
    assert got(mail(top=field)).aside is Reason.MACHINE
    assert got(mail(more=field)).aside is Reason.MACHINE
    assert got(mail(more="\n".join(["X-Filling: x"] * 9_999 + [field]))).aside is Reason.MACHINE


@pytest.mark.parametrize("field", ["Auto-Submitted: no", "Auto-Submitted: No (by hand)", "Return-Path: <ana@ferry.example>",
                                   "Precedence: normal", "X-Auto-Response-Suppress: None"])  # fmt: skip
def test_a_person(field):
    assert got(mail(top=field)).aside is None


def test_a_report_of_non_delivery_and_those_who_send_them():
    report = multi("report; report-type=delivery-status", PLAIN)
    assert got(report).aside is Reason.MACHINE
    for sender in ("MAILER-DAEMON@ferry.example", "owner-crew@ferry.example", "crew-request@ferry.example"):
        assert got(mail(sender=sender)).aside is Reason.MACHINE


# -- who --------------------------------------------------------------------------------------------------------------


def test_what_is_aside_and_who_may_be_answered():
    assert got(mail(proof=None)).aside is Reason.UNPROVED
    assert got(mail(proof="mx.evil.example; dmarc=pass header.from=ferry.example")).aside is Reason.UNPROVED
    assert got(mail(proof=f"{OURS}; dmarc=fail header.from=ferry.example")).aside is Reason.FORGED
    below = mail(proof=None, top=f"Authentication-Results: {OURS}; none", more=f"Authentication-Results: {PROVED}")
    assert got(below).aside is Reason.FORGED
    assert got(mail(sender="ana@evil.example")).aside is Reason.UNPROVED
    assert got(mail(sender="ana@ferry.example, jo@ferry.example")).aside is Reason.NO_SENDER
    assert got(mail(more="From: jo@ferry.example")).aside is Reason.NO_SENDER
    assert got(mail("B7H " + "rinsed " * 400)).aside is Reason.TOO_LONG
    assert got(mail("B7H rinsed\n" + "> x\n" * 40_000)).aside is Reason.TOO_LONG
    assert [reason.name for reason in Reason if not reason.may_be_answered] == [
        "MACHINE", "NO_SENDER", "FORGED", "TOO_LARGE", "UNREADABLE",
    ]  # fmt: skip


# -- ids --------------------------------------------------------------------------------------------------------------


def test_the_same_mail_has_the_same_id_whichever_way_it_came():
    one = mail(message_id="<1@phone.example>")
    other = mail(message_id="<1@phone.example>", top="Received: from a by b\nDelivered-To: log@ferry.example",
                 more="Content-Transfer-Encoding: base64", body=base64.b64encode(b"B7H rinsed"))  # fmt: skip
    assert got(one, "09:12").id == got(other, "09:13").id
    assert got(one).id.startswith("mail:1@phone.example#")


def test_other_mails_have_other_ids():
    fixed = {"message_id": "<1@phone.example>"}
    mails = [
        mail(**fixed), mail("C4J rinsed", **fixed), mail(sender="jo@ferry.example", **fixed),
        mail(date="Thu, 26 Nov 2026 05:12:00 -0400", **fixed), mail(message_id="<2@phone.example>"),
        mail(message_id=None), mail("C4J rinsed", message_id=None), mail(message_id="x" * 5_000), mail(message_id="y" * 5_000),
    ]  # fmt: skip
    assert len({got(each).id for each in mails}) == len(mails)
    assert all(len(got(each).id) < 255 for each in mails)
    undated = mail(message_id=None, date=None)
    assert got(undated, "1").id != got(undated, "2").id
    assert got(undated, "1").id == got(undated, "1").id


def test_a_forged_copy_does_not_stand_in_for_the_true_mail():
    fixed = {"message_id": "<1@phone.example>"}
    assert got(mail(proof=None, **fixed)).id != got(mail(**fixed)).id


# -- harm -------------------------------------------------------------------------------------------------------------


def nested(depth: int) -> bytes:
    inside = b"Content-Type: text/plain\n\nB7H rinsed\n"
    for n in range(depth):
        mark = f"b{n}".encode()
        inside = (
            b"Content-Type: multipart/mixed; boundary="
            + mark
            + b"\n\n--"
            + mark
            + b"\n"
            + inside
            + b"\n--"
            + mark
            + b"--\n"
        )
    return mail(b"", type="x/x").replace(b"Content-Type: x/x\r\n\r\n", inside)


HARM = {
    "200 deep": (nested(200), Reason.UNREADABLE),
    "3,000 deep": (nested(3_000), Reason.UNREADABLE),
    "8 deep": (nested(8), None),
    "many parts": (multi("mixed", *["\nx"] * 5_000), Reason.UNREADABLE),
    "a boundary of nothing": (mail(b"--\n\nx\n--\n", type='multipart/mixed; boundary=""'), None),
    "10,000 fields": (mail(more="\n".join(f"X-{n}: {n}" for n in range(10_000))), None),
    "a field of 200 kB": (mail(more="X: " + "x" * 200_000), None),
    "10,000 lines of one field": (mail(more="X: x\n" + "\n".join([" y"] * 10_000)), None),
    "encoded words": (mail("", subject="=?utf-8?q?" + "=41" * 20 + "?= " * 9_000), Reason.TOO_LONG),
    "encoded words that do not end": (mail(subject="=?utf-8?q?" * 20_000), None),
    "an encoded line break": (mail("", subject="=?utf-8?q?B7H=0D=0ABcc:_x@ferry.example?="), None),
    "NUL": (mail(b"B7H\0 rin\0sed\0"), None),
    "NUL in the head": (mail(more="X\0: y\nY: \0"), None),
    "no head": (b"\r\nB7H rinsed", Reason.NO_SENDER),
    "nothing": (b"", Reason.NO_SENDER),
    "only a head": (mail().split(b"\r\n\r\n")[0], None),
    "a mailbox file's line": (b"From ana@ferry.example Wed Nov 25 09:12:00 2026\r\n" + mail(), None),
    "a bare return": (mail(more="X: y\rFrom: jo@evil.example"), None),
    "lines that are no fields": (mail(more="no field here\n  and goes on: x\n: y\n\x80: z"), None),
    "binary": (mail(bytes(range(256)) * 500), Reason.TOO_LONG),
    "utf-16 said of ascii": (mail("B7H rinsed", type="text/plain; charset=utf-16"), None),
    "half characters": (mail(b"B7H \xed\xa0\x80 rinsed"), None),
    "many addresses": (mail(sender=", ".join(["a@ferry.example"] * 9_000)), Reason.NO_SENDER),
    "many comments": (mail(sender="(" * 90_000 + "ana@ferry.example"), Reason.NO_SENDER),
    "many results": (mail(proof=f"{OURS}; " + "dkim=pass header.d=x.example; " * 6_000), Reason.UNPROVED),
    "right to left": (mail("B7H \u202edesnir\u202c"), None),
}  # fmt: skip


@pytest.mark.parametrize("name", HARM)
def test_harm(name):
    octets, expected = HARM[name]
    began = time.perf_counter()
    found = got(octets)
    assert time.perf_counter() - began < 10
    assert found.aside is expected
    for kept in (found.text, found.id, found.sender):
        assert not any(ord(char) < 32 and char != "\n" for char in kept)
        assert kept.encode("utf-8").decode("utf-8") == kept  # no half characters
    assert "\n" not in found.id + found.sender
    assert len(found.text) <= 8_000


def test_what_harm_leaves_of_the_words():
    assert got(HARM["NUL"][0]).text == "B7H rinsed"
    assert got(HARM["utf-16 said of ascii"][0]).text == "B7H rinsed"
    assert got(HARM["an encoded line break"][0]).text == "B7H Bcc: x@ferry.example"
    assert got(HARM["a bare return"][0]).sender == "ana@ferry.example"
    assert got(HARM["right to left"][0]).text == "B7H desnir"


@given(st.binary(max_size=600))
def test_no_octets_bring_it_down(octets):
    assert got(octets).aside is not None


@given(st.binary(max_size=300), st.sampled_from(["text/plain", "text/html; charset=x", "multipart/mixed; boundary=a"]))
def test_no_body_brings_it_down(body, type_):
    got(mail(b"--a\n\n" + body + b"\n--a", type=type_))
