"""Files and bodies meant to harm: too large, packed too tightly, disguised, or never ending."""

from __future__ import annotations

import io
import struct
import time
import zipfile
import zlib
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from openpyxl import Workbook
from PIL import Image

from logbook.domain.instants import parse
from logbook.web.phone.picture import NotAPicture, kept_form
from logbook.web.register.sheets import SheetRefused, rows_of
from tests.web.conftest import Pages
from tests.web.phone_forms import look
from tests.web.test_intruder import rows
from tests.web.test_intruder_words import silent

EVENING = parse("2026-03-03T02:00:00Z")
IMPORT = "/en/register/import"


@pytest.fixture
def one(pages: Callable[..., Pages]) -> Pages:
    return pages(at=EVENING)


def packed(**parts: bytes) -> bytes:
    """A workbook with some of its parts replaced."""
    made, out, kept = Workbook(), io.BytesIO(), io.BytesIO()
    made.active.append(["what", "code"])  # type: ignore[union-attr]
    made.save(out)
    with zipfile.ZipFile(out) as old, zipfile.ZipFile(kept, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            short = name.rpartition("/")[2].partition(".")[0]
            new.writestr(name, parts.get(short, old.read(name)))
    return kept.getvalue()


HEAD = '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
TAIL = "</sheetData></worksheet>"
LOL = '<!DOCTYPE x [<!ENTITY a "what">' + "".join(
    f'<!ENTITY {chr(98 + n)} "{f"&{chr(97 + n)};" * 10}">' for n in range(8)
) + "]>"  # fmt: skip
ROW = '<row r="1"><c r="A1" t="inlineStr"><is><t>%s</t></is></c></row>'


@pytest.mark.parametrize(
    "sheet",
    [
        LOL + HEAD + ROW % "&i;" + TAIL,
        "<!--" + "x" * 5_000 + "-->" + LOL + HEAD + ROW % "&i;" + TAIL,
        '<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>' + HEAD + ROW % "&a;" + TAIL,
        HEAD + ROW % "what" + '<row r="99999999999999999999"><c r="A2"/></row>' + TAIL,
        HEAD + ROW % "what" + '<row r="2"><c r="ZZZZZZZ2"/></row>' + TAIL,
        HEAD + "<row r='1'>" + "<c/>" * 20_000 + "</row>" + TAIL,
    ],
)
@pytest.mark.parametrize("charset", ["utf-8", "utf-16"])
def test_a_workbook_that_grows_or_reads_other_files(one: Pages, sheet: str, charset: str) -> None:
    owner, before, begun = silent(one, "own"), rows(one), time.process_time()
    content = packed(sheet1=f'<?xml version="1.0" encoding="{charset}"?>{sheet}'.encode(charset))
    answer = owner.post(IMPORT, data={"csrf": one.csrf(owner)}, files={"file": ("fleet.xlsx", content)})
    assert answer.status_code in (200, 422)
    assert "root:" not in answer.text
    assert "whatwhat" not in answer.text
    assert time.process_time() - begun < 6
    assert rows(one) == before
    if "<!DOCTYPE" in sheet:
        with pytest.raises(SheetRefused):
            rows_of("fleet.xlsx", content)


def test_a_workbook_that_says_it_is_small() -> None:
    """Sixty megabytes of nothing in sixty kilobytes; and the same with its size forged."""
    bomb = packed(sheet1=b" " * 60_000_000)
    assert len(bomb) < 200_000
    forged = bomb.replace(struct.pack("<L", 60_000_000), struct.pack("<L", 100))
    begun = time.process_time()
    for content in (bomb, forged, bomb[:200], b"PK\x03\x04" + b"\0" * 200, b"PK"):
        with pytest.raises(SheetRefused):
            rows_of("x.xlsx", content)
    assert time.process_time() - begun < 4


@pytest.mark.parametrize(
    "carried",
    ['[{"line":"x","what":"site"}]', '[{"line":"²","what":"site","code":"a"}]', "[" * 100_000, '{"a":1}', "null", '["line"]',
     '[{"what":"site","code":"\\ud800","name":"\\ud800","zone":"America/Halifax"}]', '[{"line":"' + "9" * 5_000 + '"}]', "[1]",
     '[{"what":"person","code":"eve","role":"owner","site":"nowhere"}]', '[{"what":"machine","code":"../x","site":"HX"}]',
     '[{"what":"site","code":"a\\u0000b","name":"x","zone":"../../etc/passwd"}]'],
)  # fmt: skip
def test_what_a_dry_run_carried_forged(one: Pages, carried: str) -> None:
    owner, before = silent(one, "own"), rows(one)
    answer = one.post(owner, f"{IMPORT}/now", rows=carried)
    assert answer.status_code in (400, 422)
    assert rows(one) == before


# -- photographs --------------------------------------------------------------------------------------------------


def jpeg(side: int = 40, **more: Any) -> bytes:
    out = io.BytesIO()
    Image.effect_noise((side, side), 80).convert("RGB").save(out, "JPEG", **more)
    return out.getvalue()


def png(width: int, height: int, data: bytes = b"") -> bytes:
    def chunk(kind: bytes, inside: bytes) -> bytes:
        return struct.pack(">I", len(inside)) + kind + inside + struct.pack(">I", zlib.crc32(kind + inside))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", data or zlib.compress(b"\0" * 100))
        + chunk(b"IEND", b"")
    )


def scans(count: int, side: int = 3_000) -> bytes:
    """A progressive JPEG whose last scan is said over and over: little to send, long to unpack."""
    out = io.BytesIO()
    Image.new("RGB", (side, side)).save(out, "JPEG", progressive=True)
    whole = out.getvalue()
    last = whole.rindex(b"\xff\xda")
    return whole[:last] + whole[last:-2] * count + b"\xff\xd9"


def with_text(size: int) -> bytes:
    text = b"zTXt" + b"a\0\0" + zlib.compress(b"x" * size)
    made = png(10, 10, zlib.compress(b"\0" * 310))
    return made[:33] + struct.pack(">I", len(text) - 4) + text + struct.pack(">I", zlib.crc32(text)) + made[33:]


DISGUISED: dict[str, bytes] = {
    "svg": b'<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"/>',
    "html": b"<!doctype html><script>alert(1)</script>",
    "gif and script": b"GIF89a/*" + b"\0" * 20 + b"*/=1;alert(1)",
    "pdf": b"%PDF-1.7 /JS (app.alert(1))",
    "zip": packed(),
    "tiff": b"II*\0" + b"\0" * 60,
    "eps": b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n(x) run",
    "giant": png(2**31 - 1, 2**31 - 1),
    "wide": png(60_000, 60_000),
    "nothing": b"",
    "cut": jpeg()[:200],
    "text bomb": with_text(80_000_000),
    "many scans": scans(2_000),
}


@pytest.mark.parametrize("what", sorted(DISGUISED))
def test_what_is_no_photograph_is_refused_in_a_moment(what: str) -> None:
    begun = time.process_time()
    with pytest.raises(NotAPicture):
        kept_form(DISGUISED[what])
    assert time.process_time() - begun < 2


def test_a_photograph_that_is_a_page_or_a_script_too_is_a_photograph_only() -> None:
    evil = b"/*<script>alert(1)</script><?php evil();?>*/"
    said = jpeg()
    for raw in (
        jpeg(comment=evil),
        said + evil,
        said[:2] + b"\xff\xe1" + struct.pack(">H", len(evil) + 2) + evil + said[2:],
    ):
        assert evil in raw
        made = kept_form(raw)
        assert evil not in made
        assert b"script" not in made
        assert made[:3] == b"\xff\xd8\xff"


def test_broken_photographs_are_refused_and_never_fail() -> None:
    import random

    chance, kept = random.Random(7), 0
    begun = time.process_time()
    webp, plain = io.BytesIO(), io.BytesIO()
    Image.effect_noise((30, 30), 80).save(webp, "WEBP")
    Image.effect_noise((30, 30), 80).save(plain, "PNG")
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = 6, "x"
    for whole in (jpeg(exif=exif), jpeg(progressive=True), webp.getvalue(), plain.getvalue()):
        for _ in range(120):
            raw = bytearray(whole)
            for _ in range(chance.randint(1, 6)):
                raw[chance.randrange(len(raw) if chance.random() < 0.3 else min(len(raw), 200))] = chance.randrange(256)
            try:
                kept_form(bytes(raw))
                kept += 1
            except NotAPicture:
                pass
    assert 0 < kept < 480
    assert time.process_time() - begun < 6


def test_a_photograph_is_put_on_ones_own_fault_alone(one: Pages) -> None:
    from logbook.domain.tapcode import entry_id

    one.stage.program.intake.record(
        [one.stage.draft("B7H", "fault", id=entry_id("23456789AB", "fault"), note="x")], one.stage.by("lee")
    )
    ana = one.client("ana")
    proof, before = str(look(ana, "/en/m/B7H").form["data-writer"]), rows(one)
    answer = ana.post(
        "/en/m/B7H/photo", data={"writer": proof, "tap": "23456789AB"}, files={"photo": ("a.jpg", jpeg())}
    )
    assert answer.status_code == 422
    assert rows(one) == before


# -- bodies -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "charset",
    ["unicode_escape", "raw_unicode_escape", "undefined", "idna", "punycode", "utf-7", "utf-16", "zlib", "x" * 900],
)
def test_a_form_in_a_charset_of_its_own(one: Pages, charset: str) -> None:
    owner, before = silent(one, "own"), rows(one)
    part = '--B\r\nContent-Disposition: form-data; name="%s"\r\n\r\n%s\r\n'
    said = {"csrf": one.csrf(owner), "pin": "\\ud800", "again": "\\ud800", "name": "\\ud800" * 3, "reach": "\\ud800@x.example",
            "person": "xn--\\udfff"}  # fmt: skip
    body = "".join(part % each for each in said.items()).encode() + b"--B--\r\n"
    kind = f"multipart/form-data; boundary=B; charset={charset}"
    for path in ("/en/me/pin", "/en/sign-in/mail", "/en/sign-in/pin", "/en/register/people/new", "/en/join/B7H"):
        answer = owner.post(path, content=body, headers={"content-type": kind})
        assert 400 <= answer.status_code < 500, (path, answer.status_code)
    assert rows(one) == before


def test_a_body_of_unknown_length_that_does_not_end(one: Pages) -> None:
    owner, before, given = silent(one, "own"), rows(one), 0

    def endless() -> Iterator[bytes]:
        nonlocal given
        while given < 40_000_000:
            given += 1_000_000
            yield b"a" * 1_000_000

    for path, kind in (
        ("/en/me/pin", "application/x-www-form-urlencoded"), ("/en/m/B7H/taps", "application/json"),
        ("/en/me/pin", "multipart/form-data; boundary=B"), ("/en/m/B7H/undo", "application/json"), ("/en/me/pin", "text/plain"),
        ("/api/v1/entries", "application/json"),
    ):  # fmt: skip
        given = 0
        answer = owner.post(path, content=endless(), headers={"content-type": kind})
        assert 400 <= answer.status_code < 500, (path, kind, answer.status_code)
    assert rows(one) == before


FILENAME = b'--B\r\nContent-Disposition: form-data; name="photo"; filename="../../../x\r\nX-A: 1"\r\n\r\nx\r\n--B--'


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("multipart/form-data", b"x"), ("multipart/form-data; boundary=", b"--\r\n\r\n"), ("multipart/form-data; boundary=B", b"--B" * 9_000),
        ("multipart/form-data; boundary=B", b'--B\r\nContent-Disposition: form-data; name="a"\r\n' + b"X: y\r\n" * 9_000 + b"\r\n\r\n--B--"),
        ("multipart/form-data; boundary=B", b'--B\r\nContent-Disposition: form-data\r\n\r\nx\r\n--B--'),
        ("multipart/form-data; boundary=B", FILENAME),
        ("application/x-www-form-urlencoded", b"&" * 200_000), ("application/x-www-form-urlencoded", b"%" * 5_000), ("", b"x"), ("\xff", b"x"),
    ],
)  # fmt: skip
def test_a_body_that_is_no_form(one: Pages, kind: str, body: bytes) -> None:
    owner, before, begun = silent(one, "own"), rows(one), time.process_time()
    for path in ("/en/me/pin", "/en/m/B7H", IMPORT, "/en/m/B7H/photo"):
        answer = owner.post(path, content=body, headers={"content-type": kind.encode("latin-1")})  # type: ignore[dict-item]
        assert 400 <= answer.status_code < 500, (path, answer.status_code)
        assert "x-a" not in answer.headers
    assert time.process_time() - begun < 4
    assert rows(one) == before
