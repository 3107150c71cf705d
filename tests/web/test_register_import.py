"""A fleet from a spreadsheet: line by line, whole or not at all, and nothing that is packed to hurt."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Callable, Sequence
from html import unescape
from typing import Any

import pytest
from openpyxl import Workbook

from logbook.web.pages import words
from logbook.web.register.objections import said
from logbook.web.register.sheets import COLUMNS, OCTETS_MOST, TEMPLATE, SheetRefused, rows_of
from tests.web.conftest import Pages
from tests.web.test_register_forms import fleet_entries, hidden

PATH = "/en/register/import"


def table(*rows: dict[str, str]) -> bytes:
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS)
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()


def workbook(rows: Sequence[Sequence[str]]) -> bytes:
    made, kept = Workbook(), io.BytesIO()
    sheet = made.active
    assert sheet is not None
    for row in rows:
        sheet.append(list(row))
    made.save(kept)
    return kept.getvalue()


def send(one: Pages, browser: Any, content: bytes, name: str = "fleet.csv") -> Any:
    return browser.post(PATH, data={"csrf": one.csrf(browser)}, files={"file": (name, content)})


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_the_template_itself_can_be_imported_once(pages: Callable[..., Pages], kind: str) -> None:
    one = pages(person=[{"key": "own", "name": "Jo", "role": "owner", "email": "jo@ferry.example"}])
    own = one.client("own")
    content = own.get(f"{PATH}/template.{kind}").content
    before = len(fleet_entries(one))
    dry = send(one, own, content, f"fleet.{kind}")
    assert dry.status_code == 200
    assert dry.text.count("is added") == 3
    assert len(fleet_entries(one)) == before
    fields = hidden(dry.text, f"{PATH}/now")
    assert one.post(own, f"{PATH}/now", **fields).status_code == 303
    register = one.stage.register
    assert register.sites["north"].nights == (("FREQ=DAILY", "22:00", "06:00", ()),)
    assert len(register.by_code) == 3
    assert register.person_by_phone("+19025550111") is not None
    after = len(fleet_entries(one))
    assert one.post(own, f"{PATH}/now", **fields).status_code == 303
    assert len(fleet_entries(one)) == after == before + 3


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ({"what": "machine", "site": "nowhere", "battery": "sealed"}, "there is no site 'nowhere'"),
        ({"what": "machine", "site": "HX"}, "a new machine's battery"),
        ({"what": "machine", "code": "C2X", "site": "HX", "battery": "sealed"}, "wrong check character"),
        ({"what": "person", "code": "eva", "site": "HX", "role": "cleaner", "phone": "12"}, "is not a phone number"),
        ({"what": "site", "code": "N", "name": "N", "zone": "Moon/Base"}, "Moon/Base"),
        ({"what": "site", "code": "N", "name": "=1+1", "zone": "America/Halifax"}, "a formula"),
        ({"what": "boat", "code": "<script>x"}, "the column what says"),
    ],
)
def test_a_wrong_line_says_why_and_nothing_is_saved(pages: Callable[..., Pages], row: dict[str, str], why: str) -> None:
    one = pages()
    own = one.client("own")
    good = {"what": "site", "code": "good", "name": "Good", "zone": "America/Halifax"}
    before = len(fleet_entries(one))
    answer = send(one, own, table(good, row))
    assert answer.status_code == 422
    assert why in unescape(answer.text)
    assert "<script>x" not in answer.text
    assert f"{PATH}/now" not in answer.text
    assert len(fleet_entries(one)) == before


def test_what_stands_already_stays_and_policy_with_it(pages: Callable[..., Pages]) -> None:
    one = pages(policy={"watering.every": "P5D"})
    own = one.client("own")
    answer = send(one, own, table({"what": "site", "code": "HX"}, {"what": "person", "code": "lee", "name": "Lee S."}))
    assert ("stays as it is" in answer.text, "is changed" in answer.text) == (True, True)
    assert one.post(own, f"{PATH}/now", **hidden(answer.text, f"{PATH}/now")).status_code == 303
    lee = one.stage.register.person_by_key("lee")
    assert lee is not None
    assert (lee.name, lee.email, lee.sites) == ("Lee S.", "lee@ferry.example", ("HX",))
    assert one.stage.register.settings() == {"watering.every": "P5D"}


def test_a_bomb_a_flood_and_a_picture_are_turned_away() -> None:
    bomb = io.BytesIO()
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/worksheets/sheet1.xml", b" " * 40_000_000)
    for content in (bomb.getvalue(), b"x" * (OCTETS_MOST + 1), b"what\n" + b"site\n" * 1_100, b"\x89PNG\r\n\x1a\n\xff",
                    b"PK\x03\x04rubbish", b"a,b\n1,2\n"):  # fmt: skip
        with pytest.raises(SheetRefused):
            rows_of("fleet.xlsx" if content[:2] == b"PK" else "fleet.csv", content)


def test_a_workbook_gives_the_rows_of_the_text() -> None:
    assert [r["what"] for r in rows_of("a.xlsx", workbook(TEMPLATE))] == ["site", "machine", "person"]


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ({"what": "machine", "site": "nowhere", "battery": "sealed"}, "no hay un sitio nowhere en la flota"),
        ({"what": "machine", "site": "HX"}, "la batería de una máquina nueva"),
        ({"what": "machine", "site": "HX", "battery": "acid"}, "battery es uno de: 'flooded', 'sealed' or 'lithium'"),
        ({"what": "machine", "code": "C2X", "site": "HX", "battery": "sealed"}, "carácter de control equivocado"),
        ({"what": "machine", "site": "HX", "battery": "sealed", "commissioned_at": "2026"}, "2026 no es un instante"),
        ({"what": "machine", "site": "HX", "battery": "sealed", "warranty_from": "soon"}, "soon no es una fecha"),
        ({"what": "person", "code": "eva", "site": "HX", "role": "cleaner", "phone": "12"}, "12 no es un número"),
        ({"what": "person", "code": "eva", "site": "HX", "role": "cleaner", "email": "x"}, "x no es una dirección"),
        ({"what": "person", "code": "eva", "site": "HX"}, "falta role"),
        ({"what": "person", "site": "HX", "role": "cleaner"}, "falta code"),
        ({"what": "site", "code": "N", "name": "N", "zone": "Moon/Base"}, "Moon/Base no es una zona horaria"),
        ({"what": "site", "code": "N", "name": "=1+1", "zone": "America/Halifax"}, "hay una fórmula"),
        ({"what": "site", "code": "N", "name": "N", "zone": "America/Halifax", "night_from": "25:00", "night_to": "3"},
         "se escriben como 22:00 y 06:00"),
        ({"what": "boat"}, "la columna what dice"),
    ],
)  # fmt: skip
def test_a_spanish_reader_is_told_why_in_spanish(pages: Callable[..., Pages], row: dict[str, str], why: str) -> None:
    one = pages()
    own = one.client("own")
    answer = own.post("/es/register/import", data={"csrf": one.csrf(own)}, files={"file": ("fleet.csv", table(row))})
    assert answer.status_code == 422
    assert why in unescape(answer.text)
    assert '<span lang="en">' not in answer.text


def test_what_is_refused_in_words_that_nobody_knows_is_marked_as_english() -> None:
    say = words("es", "register")
    assert said("Some new objection.", say) == ("Some new objection.", "en")
    assert said("Some new objection.", words("en", "register")) == ("Some new objection.", "")
    assert said("watering.every: 'P1Q' is not a duration. Nothing was saved.", say).text.startswith(
        "Ese no es un tiempo"
    )
