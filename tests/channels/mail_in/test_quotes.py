"""Own words and quotes: sample mails, and whether anything that somebody else wrote ever comes out."""

from __future__ import annotations

import re
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook.channels.mail_in import Reason, markup
from logbook.channels.mail_in.quotes import own_words
from logbook.channels.mail_in.reading import read
from tests.channels.mail_in.mails import OURS, mail


def _samples() -> list[tuple[str, str, str, str]]:
    found = []
    for block in re.split(
        r"^== ", Path(__file__).with_name("samples.txt").read_text(encoding="utf-8"), flags=re.MULTILINE
    )[1:]:
        title, _, body = block.partition("\n")
        name, form, expected = (part.strip() for part in title.split("|"))
        found.append((name, form, expected.replace(" / ", "\n"), body))
    return found


SAMPLES = _samples()


@pytest.mark.parametrize(("name", "form", "expected", "body"), SAMPLES, ids=[sample[0] for sample in SAMPLES])
def test_a_sample(name, form, expected, body):
    type_ = f"text/{form}; charset=utf-8"
    got = read(mail(body, type=type_, subject="Re: C4J rinse"), {OURS})
    if expected == "!unclear":
        assert got.aside is Reason.UNCLEAR
    elif not expected:
        assert got.aside is Reason.EMPTY
    else:
        assert (got.text, got.aside) == (expected, None)
        assert "C4J" not in got.text
    # The same with what else a way to us may do: other line ends, base64, an alternative in HTML.
    again = read(mail(body, type=type_, more="Content-Transfer-Encoding: 8bit").replace(b"\r\n", b"\n"), {OURS})
    if got.aside is None:
        assert again.text == got.text


def test_there_are_enough_samples_and_none_leaks():
    assert len(SAMPLES) >= 60
    assert len({name for name, *_ in SAMPLES}) == len(SAMPLES)
    leaks = [
        name
        for name, form, _, body in SAMPLES
        if (got := read(mail(body, type=f"text/{form}", subject="Re: C4J"), {OURS})).aside is None and "C4J" in got.text
    ]
    assert leaks == []


@pytest.mark.parametrize(
    "own", ["B7H rinsed", "B7H vacié y lavé 0510", "on charge B7H", "el B7H lavado", "B7H empty\nB7H rinse"]
)
@pytest.mark.parametrize(
    "opening",
    [
        "On Tue, Nov 24, 2026 at 10:14 PM Jo Marsh <jo@ferry.example> wrote:",
        "On Tue, Nov 24, 2026 at 10:14 PM Jo Marsh\n<jo@ferry.example> wrote:",
        "El mar, 24 nov 2026 a las 22:14, Jo Marsh\n(<jo@ferry.example>) escribió:",
        "El mar., 24 de nov. de 2026 22:14, Jo Marsh <jo@ferry.example> escribió:",
        "Jo Marsh <jo@ferry.example> wrote:",
        "-----Original Message-----\nFrom: Jo\nSent: Tuesday",
        "-----Mensaje original-----\nDe: Jo\nEnviado: martes",
        "From: Jo <jo@ferry.example>\nSent: Tuesday\nTo: Ana\nSubject: x",
        "De: Jo <jo@ferry.example>\nEnviado el: martes\nPara: Ana\nAsunto: x",
        "________________________________\nFrom: Jo\nDate: Tuesday",
        "---------- Forwarded message ---------\nFrom: Jo",
        "",
    ],
)
@pytest.mark.parametrize("between", ["\n", "\n\n", "\n\n\n"])
@pytest.mark.parametrize("mark", ["> ", ">", ">> ", "| ", ""])
def test_every_opening_before_every_mark(own, opening, between, mark):
    if not opening and not mark:
        return  # nothing says that it is a quote
    quote = "\n".join(f"{mark}{line}" for line in ("C4J put away", "", "C4J charge"))
    got = own_words(f"{own}{between}{opening}{between}{quote}\n")
    assert (got.text, got.quoted, got.unclear) == (own, True, False)


@given(st.text(alphabet=" >-_:\n\tOnElwrote:escribióFrom:Sent:De:@<>=*~/", max_size=400))
def test_no_text_brings_it_down(text):
    got = own_words(text)
    assert "\n\n" not in got.text


@pytest.mark.parametrize(
    "filling", ["On ", "From: ", "- ", " ", "_", "> ", "wrote:", "From:\n", "On x\n", "--\n", "original message "]
)
def test_long_lines_take_no_long_time(filling):
    began = time.perf_counter()
    own_words((filling * 60_000)[:60_000] + "x")
    assert time.perf_counter() - began < 5  # seconds; it takes some tenths, and hours where it is not linear


@pytest.mark.parametrize(
    "filling",
    [
        "<",
        "<p",
        "<!--",
        "<a title='",
        '<a b="',
        "</p>",
        "<div>",
        "<script>",
        "&",
        "<script></script",
        "<br>",
        "<x y='\">",
    ],
)
def test_broken_html_takes_no_long_time(filling):
    began = time.perf_counter()
    markup.to_text(filling * (200_000 // len(filling)))
    assert time.perf_counter() - began < 5


@given(st.text(alphabet="<>/!-\"'= abpdivscriptblockquote&;#x0\n", max_size=300))
def test_no_html_brings_it_down(source):
    markup.to_text(source)
