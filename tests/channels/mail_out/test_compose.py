"""What goes over the wire reads back as what was meant, and cannot be made to say anything else."""

from __future__ import annotations

import re
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default
from email.utils import parsedate_to_datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.channels.mail_out.address import AddressError
from logbook.channels.mail_out.compose import compose
from logbook.domain.instants import to_datetime
from logbook.watch.routes import Attachment
from tests.channels.mail_out.sending import AT, outgoing

FROM = "logbook@ferries.example"


def read(octets: bytes) -> EmailMessage:
    return message_from_bytes(octets, policy=default)


def text(part: EmailMessage) -> str:
    """A part's text as a reader sees it: what ended its lines on the wire does not show."""
    return str(part.get_content()).replace("\r\n", "\n")


def test_the_headers_say_who_when_and_that_a_machine_wrote() -> None:
    mail = read(compose(outgoing(language="es"), FROM, "Machine logbook"))
    assert mail["Message-ID"] == "<m1@log.ferries.example>"
    assert parsedate_to_datetime(mail["Date"]) == to_datetime(AT)
    assert mail["From"].addresses[0].display_name == "Machine logbook"
    assert mail["From"].addresses[0].addr_spec == FROM
    assert mail["To"].addresses[0].addr_spec == "ann@ferries.example"
    assert mail["Auto-Submitted"] == "auto-generated"
    assert mail["Content-Language"] == "es"
    assert mail.get_content_type() == "text/plain"
    assert text(mail) == "Not rinsed.\nPier 3, since 05:10.\n"


def test_the_same_message_is_the_same_bytes() -> None:
    message = outgoing(subject="Señal", attachments=(Attachment("a.csv", b"1"),))
    assert compose(message, FROM, "L") == compose(message, FROM, "L")


def test_other_letters_and_long_lines_arrive_whole() -> None:
    body = "¿Cargada? Sí — 83 %.\n" + "x" * 5_000 + "\n.\n..\nFrom here\n  trailing  \n=3D\n\ttab\n" + "ñ" * 700 + " 🔋"
    octets = compose(outgoing(body=body, subject="Máquina B7H: ¿quién enjuagó? " * 6), FROM, "Libro de máquinas")
    assert octets.isascii()
    assert max(map(len, octets.split(b"\r\n"))) <= 78
    assert b"\n" not in octets.replace(b"\r\n", b"")
    mail = read(octets)
    assert text(mail) == body + "\n"
    assert mail["Subject"] == ("Máquina B7H: ¿quién enjuagó? " * 6).strip()
    assert mail["From"].addresses[0].display_name == "Libro de máquinas"


def test_text_cannot_become_a_header() -> None:
    nasty = "B7H\r\nBcc: eve@ferries.example\r\n\r\nhello\x00\x85\u2028there"
    octets = compose(outgoing(subject=nasty, body=nasty), FROM, 'An "odd" \\ name')
    mail = read(octets)
    assert mail["Bcc"] is None
    assert mail["Subject"] == "B7H Bcc: eve@ferries.example hello there"
    assert mail["From"].addresses[0].display_name == 'An "odd" \\ name'
    assert text(mail) == "B7H\nBcc: eve@ferries.example\n\nhello\u2028there\n"


def test_text_that_looks_encoded_stays_as_it_was_written() -> None:
    assert read(compose(outgoing(subject="=?utf-8?B?Qg==?= rinse"), FROM, ""))["Subject"] == "=?utf-8?B?Qg==?= rinse"


def test_attachments_arrive_octet_by_octet() -> None:
    content = bytes(range(256)) * 40
    files = (Attachment("año 2026\r\nX: y.bin", content), Attachment("", b""))
    mail = read(compose(outgoing(attachments=files), FROM, ""))
    parts = list(mail.iter_attachments())
    assert [part.get_content_type() for part in parts] == ["application/octet-stream"] * 2
    assert [part.get_content() for part in parts] == [content, b""]
    assert [part.get_filename() for part in parts] == ["a_o_2026__X__y.bin", "file"]
    body = mail.get_body()
    assert isinstance(body, EmailMessage)
    assert text(body) == "Not rinsed.\nPier 3, since 05:10.\n"


@pytest.mark.parametrize("name", ["m1@x", "<m1@x>\r\nBcc: eve@x.example", "<m 1@x>", "<>", ""])
def test_a_message_id_that_is_none_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match="Message-ID"):
        compose(outgoing(message_id=name), FROM, "")


def test_an_address_with_a_line_break_is_refused() -> None:
    with pytest.raises(AddressError):
        compose(outgoing(address="ann@ferries.example\r\nBcc: eve@x.example"), FROM, "")


@given(st.text(max_size=200), st.text(max_size=400))
def test_any_text_reads_back(subject: str, body: str) -> None:
    octets = compose(outgoing(subject=subject, body=body), FROM, "")
    assert octets.isascii()
    assert max(map(len, octets.split(b"\r\n"))) <= 78
    mail = read(octets)
    assert mail.keys()[-2:] == ["Content-Type", "Content-Transfer-Encoding"]

    def seen(text: str) -> str:
        return re.sub(r"[^\S\n]|[\x00-\x09\x0b-\x1f\x7f-\x9f]", "", re.sub(r"\r\n?", "\n", text))

    # Surrogates are no letters (they would come out as "?"); white space is compared by the tests above.
    if not any("\ud800" <= char <= "\udfff" for char in subject + body):
        assert seen(mail.get_content()).rstrip("\n") == seen(body).rstrip("\n")
        assert seen(mail["Subject"]).replace("\n", "") == seen(subject).replace("\n", "")
