"""A photograph of what is wrong: the fault arrives whatever becomes of it; nothing but the picture is kept."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Callable
from typing import Any

import pytest
from PIL import Image

from logbook.domain.entries.faults import PHOTO_MOST
from logbook.domain.instants import parse
from logbook.domain.tapcode import entry_id
from logbook.store import log, words
from logbook.web.phone.picture import SIDE, NotAPicture, kept_form
from tests.web.conftest import Pages
from tests.web.phone_forms import look, press, tap

EVENING = parse("2026-03-03T02:00:00Z")
AT = "/en/m/B7H"
LEAK = ("fault.note", "It leaks")


def jpeg(width: int = 2_000, height: int = 1_000, *, where: bool = True, turned: int = 1) -> bytes:
    """A photograph as a phone takes it: left half red, right half blue, with its position in it."""
    image = Image.new("RGB", (width, height), "red")
    image.paste("blue", (width // 2, 0, width, height))
    exif = Image.Exif()
    exif[0x0112] = turned
    exif[0x010F] = "phonemakersname"
    if where:
        exif[0x8825] = {1: "N", 2: (44.0, 38.0, 55.0), 3: "W", 4: (63.0, 34.0, 12.0)}
    out = io.BytesIO()
    image.save(out, "JPEG", exif=exif, comment=b"secretcomment")
    return out.getvalue()


def png_bomb(side: int = 60_000) -> bytes:
    """A PNG of a few hundred octets that says it holds 3.6 thousand million points."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", side, side, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(b"\0" * 60_000))
        + chunk(b"IEND", b"")
    )


def photos(one: Pages) -> list[str]:
    rows = one.stage.read(lambda c: list(log.by_seq(c, one.stage.machine("B7H"))))
    return [row.id for row in rows if row.kind == "photo"]


# -- the picture alone --------------------------------------------------------------------------------------------


def test_position_maker_and_remarks_stay_behind() -> None:
    raw = jpeg()
    assert b"phonemakersname" in raw
    assert Image.open(io.BytesIO(raw)).getexif().get_ifd(0x8825)
    kept = kept_form(raw)
    made = Image.open(io.BytesIO(kept))
    assert made.format == "JPEG"
    assert dict(made.getexif()) == {}
    assert set(made.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    for secret in (b"phonemakersname", b"secretcomment", b"Exif"):
        assert secret not in kept
    assert max(made.size) == SIDE
    assert len(kept) <= PHOTO_MOST


def test_it_is_turned_upright_before_that_is_forgotten() -> None:
    made = Image.open(io.BytesIO(kept_form(jpeg(800, 400, turned=6))))  # taken with the phone on its side
    assert made.size == (400, 800)
    red, blue = made.getpixel((200, 100)), made.getpixel((200, 700))
    assert isinstance(red, tuple)
    assert isinstance(blue, tuple)
    assert red[0] > 200 > 60 > red[2]
    assert blue[2] > 200 > 60 > blue[0]


@pytest.mark.parametrize(("kind", "mode"), [("PNG", "RGBA"), ("PNG", "P"), ("PNG", "LA"), ("PNG", "I;16"), ("WEBP", "RGB"),
                                            ("JPEG", "CMYK"), ("JPEG", "L")])  # fmt: skip
def test_whatever_a_phone_makes_becomes_one_form(kind: str, mode: str) -> None:
    out = io.BytesIO()
    Image.new(mode, (300, 200)).save(out, kind)
    made = Image.open(io.BytesIO(kept_form(out.getvalue())))
    assert (made.format, made.mode, made.size) == ("JPEG", "RGB", (300, 200))


def test_a_picture_that_does_not_pack_is_made_smaller() -> None:
    import random

    noise = Image.frombytes("RGB", (1_280, 1_280), random.Random(3).randbytes(3 * 1_280 * 1_280))
    out = io.BytesIO()
    noise.save(out, "PNG")
    kept = kept_form(out.getvalue())
    assert len(kept) <= PHOTO_MOST
    assert Image.open(io.BytesIO(kept)).format == "JPEG"


DISGUISED = {
    "a page": b"<html><script>alert(1)</script></html>",
    "a drawing": b'<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"/>',
    "a page behind a JPEG's first octets": b"\xff\xd8\xff\xe0<script>alert(1)</script>",
    "a program": b"MZ" + bytes(400),
    "half a photograph": jpeg()[:300],
    "a GIF": b"GIF89a\x01\x00\x01\x00\x80\x00\x00\x00\x00\x00\xff\xff\xff,\x00\x00\x00\x00\x01\x00\x01\x00\x00\x02\x02D\x01\x00;",
    "a PostScript": b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 10 10\n",
    "nothing": b"",
}


@pytest.mark.parametrize("name", DISGUISED)
def test_what_is_no_photograph_is_refused(name: str) -> None:
    with pytest.raises(NotAPicture) as refused:
        kept_form(DISGUISED[name])
    assert refused.value.reason == "unreadable"


@pytest.mark.parametrize("side", [5_001, 60_000])
def test_what_would_grow_beyond_bounds_is_refused_unopened(side: int) -> None:
    with pytest.raises(NotAPicture) as refused:
        kept_form(png_bomb(side))
    assert refused.value.reason == "large"


# -- on the page --------------------------------------------------------------------------------------------------


def report(one: Pages, photo: bytes, who: str = "ana") -> Any:
    return tap(one.client(who), AT, "fault", LEAK, photo=photo)


def test_a_fault_arrives_with_its_photograph(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING)
    screen = report(one, jpeg())
    assert "Saved: fault reported, photograph added" in screen.text
    (photo,) = photos(one)
    entries = {kind: data for kind, _at, data in one.stage.entries("B7H")}
    fault = one.stage.read(
        lambda c: next(row.id for row in log.by_seq(c, one.stage.machine("B7H")) if row.kind == "fault")
    )
    assert entries["photo"] == {"entry": fault}  # the picture itself is private, and not in the log
    answer = one.opened[0].get(f"/en/photo/{photo}")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "image/jpeg"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["content-security-policy"] == "default-src 'none'; sandbox"
    assert Image.open(io.BytesIO(answer.content)).size == (1_280, 640)


@pytest.mark.parametrize("name", [name for name in DISGUISED if name != "nothing"])
def test_the_fault_is_kept_where_its_picture_cannot_be(pages: Callable[..., Pages], name: str) -> None:
    one = pages(at=EVENING)
    screen = report(one, DISGUISED[name])
    assert "was not kept. The report itself is saved." in screen.text
    assert [kind for kind, _at, _data in one.stage.entries("B7H", "fault", "photo")] == ["fault"]


def test_a_bomb_leaves_the_fault(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING)
    assert "too large and was not kept. The report itself is saved." in report(one, png_bomb()).text
    assert photos(one) == []


def test_sent_twice_it_is_kept_once(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING)
    browser = one.client("ana")
    screen = look(browser, AT)
    for _ in range(2):
        press(browser, screen, "fault", LEAK, photo=jpeg())
    assert len(photos(one)) == 1


def test_only_leaders_and_who_took_it_see_it(pages: Callable[..., Pages]) -> None:
    one = pages(
        at=EVENING,
        person=[
            {"key": "ana", "name": "Ana", "role": "cleaner", "phone": "+19025550111", "sites": ["HX"]},
            {"key": "bo", "name": "Bo", "role": "cleaner", "phone": "+19025550114", "sites": ["HX"]},
            {"key": "kay", "name": "Kay", "role": "keeper", "email": "kay@ferry.example", "sites": ["HX"]},
            {"key": "lee", "name": "Lee", "role": "supervisor", "email": "lee@ferry.example", "sites": ["HX"]},
            {"key": "kim", "name": "Kim", "role": "supervisor", "email": "kim@ferry.example", "sites": ["SJ"]},
            {"key": "own", "name": "Jo", "role": "owner", "email": "jo@ferry.example"},
        ],
    )
    report(one, jpeg())
    (photo,) = photos(one)
    seen = {
        who: one.client(who).get(f"/en/photo/{photo}").status_code for who in ("ana", "bo", "kay", "lee", "kim", "own")
    }
    assert seen == {"ana": 200, "bo": 404, "kay": 404, "lee": 200, "kim": 404, "own": 200}
    assert one.client().get(f"/en/photo/{photo}").status_code == 303
    fault = one.stage.read(
        lambda c: next(row.id for row in log.by_seq(c, one.stage.machine("B7H")) if row.kind == "fault")
    )
    for other in (fault, "0192d5c8-0000-7000-8000-000000000001", "x", "..%2f..%2fetc%2fpasswd"):
        assert one.client("own").get(f"/en/photo/{other}").status_code == 404


def test_what_was_taken_back_or_erased_is_shown_to_nobody(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING)
    browser = one.client("ana")
    screen = tap(browser, AT, "fault", LEAK, photo=jpeg())
    (photo,) = photos(one)
    assert press(browser, screen, "undo").status_code == 303
    assert [data["entry"] for _kind, _at, data in one.stage.entries("B7H", "void")].count(photo) == 1
    assert browser.get(f"/en/photo/{photo}").status_code == 404
    one.stage.now += 60_000_000
    tap(browser, AT, "fault", LEAK, photo=jpeg())
    photo = photos(one)[-1]
    assert browser.get(f"/en/photo/{photo}").status_code == 200
    one.house.store.write(lambda c: words.erase(c, one.stage.machine("B7H"), [photo]))
    assert browser.get(f"/en/photo/{photo}").status_code == 404


def test_the_queue_adds_a_photograph_to_its_own_fault_alone(pages: Callable[..., Pages]) -> None:
    one = pages(at=EVENING)
    browser, jo = one.client("ana"), one.client("own")
    proof, other = (str(look(each, AT).form["data-writer"]) for each in (browser, jo))
    code = "23456789AB"

    def send(writer: str, of: str, raw: bytes) -> Any:
        return jo.post(f"{AT}/photo", data={"writer": writer, "tap": of}, files={"photo": ("p", raw, "image/jpeg")})

    assert send(proof, code, jpeg()).status_code == 422  # there is no such fault yet
    told = {"writer": proof, "tap": code, "acts": [{"kind": "fault", "data": {"note": "knocks"}}]}
    assert jo.post(f"{AT}/taps", json=told).status_code == 201
    assert send(other, code, jpeg()).status_code == 422
    assert send("x.y", code, jpeg()).status_code == 401
    refused = send(proof, code, b"nothing of the kind")
    assert refused.status_code == 422
    assert "The report itself is saved" in refused.json()["say"]
    assert photos(one) == []
    assert send(proof, code, jpeg()).status_code == 201
    assert send(proof, code, jpeg(600, 300)).status_code == 201
    assert photos(one) == [entry_id(code, "photo")]
