"""`policy`, `kinds` and `plates`: made from the tables of the domain, and from the register."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest

from logbook.command.show import clean
from logbook.domain.entries import catalogue
from logbook.domain.policy import KEYS
from logbook.web.plates import Plate, sheet


def test_every_number_has_its_row_without_a_logbook(asked, home):
    rows = asked("policy")
    assert [row["key"] for row in rows] == list(KEYS)
    assert all(row["in_force"] == row["default"] and row["meaning"] for row in rows)
    assert not (home / "logbook.sqlite").exists()


def test_the_narrower_number_is_in_force(fleet, asked, done):
    def force(*words):
        return {row["key"]: row["in_force"] for row in asked("policy", *words)}

    assert force("rinse.grace")["rinse.grace"] == "PT40M"
    assert force("filter.every")["filter.every"] == "P7D"
    assert force("filter.every", "--site", "north-slip")["filter.every"] == "P5D"
    assert force("--machine", "B7H")["filter.every"] == "P5D"
    assert force("--machine", "B7H")["watering.every"] == "P4D"
    assert force("--machine", "R4X")["filter.every"] == "P7D"
    assert force("watering", "--fleet", "FLEET.toml", "--machine", "B7H")["watering.every"] == "P4D"
    assert force("rinse")["rinse.escalate"] == ["PT0S supervisor", "PT2H owner"]
    assert "PT40M" in done("policy", "rinse.grace")


def test_policy_refuses_what_is_not_there(fleet, refused):
    assert 'did you mean "rinse.grace"' in refused("policy", "rinse.grce")
    assert "no site" in refused("policy", "--site", "west")
    assert "no machine" in refused("policy", "--machine", "Z9Z")


def test_every_kind_has_its_row(asked, done, refused):
    rows = {row["kind"]: row for row in asked("kinds")}
    assert list(rows) == [kind.kind for kind in catalogue]
    assert all(row["meaning"] for row in rows.values())
    for kind in catalogue:
        for word in (*(kind.words.en if kind.words else ()), *(kind.words.es if kind.words else ())):
            assert word in rows[kind.kind]["words_en"] + rows[kind.kind]["words_es"]
    assert rows["watering"]["quantity"] == "volume, 1 to 20000 into water_ml, may be left out"
    assert rows["segments"]["fields"]["left_um"] == "needed"
    assert rows["trained"]["fields"]["by"] == "needed"
    assert rows["person_set"]["private"] == ["email", "key", "name", "phone", "word"]
    assert "enjuague" in done("kinds")
    assert "left_um (needed)" in done("kinds", "segments")
    assert "no kind of entry" in refused("kinds", "rinsse")


class Tags(HTMLParser):
    """Which elements and attributes a page has, and its text by element."""

    def __init__(self, page):
        super().__init__()
        self.tags, self.attributes, self.codes, self.inside = [], [], [], []
        self.feed(page)
        assert not self.inside

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs
        if tag != "meta":
            self.inside.append(tag)

    def handle_endtag(self, tag):
        assert self.inside.pop() == tag

    def handle_data(self, data):
        if self.inside and self.inside[-1] == "h2":
            self.codes.append(data)


def test_a_sheet_stands_by_itself():
    plates = [Plate("B7H", "North <Slip> & Co", "+1 902 555 0100", "gannet"), Plate("C4J", "Rock")]
    page = sheet("Kittiwake & Sons", plates)
    read = Tags(page)
    assert read.codes == ["B7H", "C4J"]
    assert not {"script", "link", "img", "iframe", "object"} & set(read.tags)
    assert not {name for name, _ in read.attributes} & {"src", "href", "style", "onclick"}
    assert not re.search(r"url\(|@import|data:|https?:", page)
    assert "North &lt;Slip&gt; &amp; Co" in page
    assert "@media print" in page
    assert page.count("+1 902 555 0100") == 1
    assert "JOIN gannet" in page
    assert "ENTRAR gannet" in page


def test_plates_of_the_fleet(fleet, done, asked, refused, run, home, monkeypatch):
    bare = run("plates")
    assert (bare.exit_code, bare.stdout.count("<svg")) == (0, 0)
    assert "set base_address" in bare.stderr
    monkeypatch.setenv("LOGBOOK_BASE_ADDRESS", "https://log.kittiwake.example")
    assert done("plates").count("<svg") == 3
    assert Tags(done("plates")).codes == ["R4X", "B7H", "C4J"]  # by site, then code
    assert "3 plates" in done("plates", "--out", "plates.html", "--line", "+1 902 555 0100")
    page = (home / "plates.html").read_text(encoding="utf-8")
    assert page.count("+1 902 555 0100") == 3
    assert "North Slip" in page
    assert [plate["code"] for plate in asked("plates", "c4j")["plates"]] == ["C4J"]
    assert "no machine" in refused("plates", "Z9Z")
    assert "cannot be written" in refused("plates", "--out", "no/such/folder.html")
    done("record", "C4J", "retired", "--by", "jo")
    assert Tags(done("plates")).codes == ["R4X", "B7H"]


@pytest.mark.parametrize("sign", ["\x1b", "\x07", "\u202e", "\n", "\ud800"])
def test_nothing_that_was_written_can_steer_the_terminal(sign):
    assert clean(f"a{sign}b") == "a\ufffdb"
