"""Plates: the square code is read by a decoder that is not ours; words stay at their own site."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

import pytest

from logbook.intake import Draft
from logbook.web.plates import Plate, article, opens, sheet, square
from logbook.web.register.plates_of import spaced
from tests.web.conftest import ADDRESS


def _lit(drawn: str) -> tuple[int, list[list[int]]]:
    """The modules that are dark, as painted: lines of one module's height, drawn by relative moves."""
    root = ET.fromstring(drawn)
    side = int(root.attrib["viewBox"].split()[2])
    grid = [[255] * side for _ in range(side)]
    path = next(each for each in root if each.attrib.get("stroke"))
    x, y = 0.0, 0.0
    for command, numbers in re.findall(r"([Mmh])\s*([-\d. ]+)", path.attrib["d"]):
        values = [float(number) for number in numbers.split()]
        if command == "M":
            x, y = values
        elif command == "m":
            x, y = x + values[0], y + values[1]
        else:
            for column in range(int(x), int(x + values[0])):
                grid[int(y)][column] = 0
            x += values[0]
    return side, grid


@pytest.mark.parametrize("code", ["B7H", "C4J", "Z999Z"])
def test_a_square_code_is_read_by_another_program(code):
    zxingcpp = pytest.importorskip("zxingcpp")
    address = opens(ADDRESS, code)
    side, grid = _lit(square(address))
    margin = [*grid[:4], *grid[-4:], *([*row[:4], *row[-4:]] for row in grid)]
    assert all(value == 255 for each in margin for value in each), "four modules of quiet around it"
    painted = bytes(value for row in grid for _ in range(6) for value in row for _ in range(6))
    read = zxingcpp.read_barcodes(memoryview(painted).cast("B", (side * 6, side * 6)))
    assert [each.text for each in read] == [f"{ADDRESS}/m/{code}"]
    assert read[0].ec_level in {"M", "Q", "H"}


def test_a_square_code_holds_the_address_whatever_is_installed():
    segno = pytest.importorskip("segno")
    drawn = square(f"{ADDRESS}/m/B7H")
    side, grid = _lit(drawn)
    again = [
        [0 if dark else 255 for dark in row]
        for row in segno.make_qr(f"{ADDRESS}/m/B7H", error="m").matrix_iter(border=4)
    ]
    assert grid == again
    assert side == len(again)


def test_without_an_address_there_is_no_square_code_and_the_sheet_says_so():
    page = sheet("Ferry", [Plate("B7H", "Slip")])
    assert "<svg" not in page
    assert "base_address is missing" in page
    whole = sheet("Ferry", [Plate("B7H", "Slip", opens=opens(ADDRESS, "B7H"))])
    assert whole.count("<svg") == 1
    assert "base_address" not in whole
    assert ' style="' not in whole


def test_what_stands_on_a_plate_is_escaped_and_said_in_both_languages():
    made = article(Plate("B7H", "Slip <b>", "+1 902", "gan<net"))
    assert "Slip &lt;b&gt;" in made
    assert "JOIN gan&lt;net" in made
    assert "ENTRAR gan&lt;net" in made
    assert 'lang="es">Escriba: B7H vaciada' in made


def test_numbers_are_spaced_as_people_read_them():
    assert spaced("+19025550100") == "+1 902 555 0100"
    assert spaced("12345") == "12345"
    assert spaced(None) is None


def _words(pages):
    stage = pages.stage
    fleet = stage.read(stage.program.registry.fleet)
    drafts = [
        Draft(stage.ids(), fleet, "join_word", {"site": s, "word": w}) for s, w in (("HX", "gannet"), ("SJ", "auk"))
    ]
    stage.program.intake.record(drafts, stage.by("own"))


def test_a_leader_prints_the_plates_of_their_own_sites_alone(pages):
    made = pages()
    _words(made)
    lee = made.client("lee").get("/en/register/plates")
    assert lee.status_code == 200
    assert "JOIN gannet" in lee.text
    assert "B7H" in lee.text
    assert "auk" not in lee.text
    assert "B8F" not in lee.text
    assert made.client("lee").get("/en/register/plates?site=SJ").status_code == 404
    owner = made.client("own").get("/es/register/plates").text
    assert "gannet" in owner
    assert "auk" in owner
    only = made.client("own").get("/en/register/plates?site=SJ").text
    assert "auk" in only
    assert "gannet" not in only
    assert made.client("ana").get("/en/register/plates").status_code == 404
    assert made.client().get("/en/register/plates").status_code == 303


def test_a_retired_machine_needs_no_plate(pages):
    made = pages()
    made.stage.tell("B7H", "retired", who="own")
    assert "no machine at your sites" in made.client("lee").get("/en/register/plates").text
