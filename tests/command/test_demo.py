"""The demo as a visitor without a terminal gets it: it ends by itself, its pages answer, and the doubter is found out."""

from __future__ import annotations

import io
import re
import socket
from urllib.request import urlopen

import pytest
from rich.console import Console

from logbook.command import demo, demo_weeks
from logbook.command.demo_night import EVENING, FLEET
from logbook.command.refusals import Refusal
from logbook.domain.fleetfile import read


def test_the_past_is_in_order_and_names_nobody_unknown():
    told = demo_weeks.acts({"B7H": "ana", "C4J": "luis", "D2J": "mia"})
    assert [act[0] for act in told] == sorted(act[0] for act in told)
    assert told[0][0] > demo_weeks.FIRST
    assert told[-1][0] < EVENING
    people = {person.key for person in read(FLEET).person}
    assert {act[1] for act in told} <= people
    assert {act[2] for act in told} == {machine.code for machine in read(FLEET).machine}
    kinds = {act[3] for act in told}
    assert {"rinse", "charge", "watering", "segments", "fault", "ordered"} <= kinds


def test_the_demo_ends_by_itself_and_shows_every_role_s_page(tmp_path):
    pytest.importorskip("aiosmtpd")
    pytest.importorskip("fastapi")
    said = io.StringIO()
    status = demo.run(Console(file=said, width=200, color_system=None), pace=0, ask=False, keep=tmp_path)
    shown = said.getvalue()
    assert status == 0, shown
    assert re.search(r"alert \d+ raised: B7H, battery charge", shown)
    assert "to jo@ferry.example: B7H, North Slip: not reported on charge" in shown
    assert "audit: BROKEN at C4J" in shown or "audit: BROKEN at B7H" in shown
    assert "nothing contradicts itself" in shown
    assert "Tonight       the page now says: Two machines are late." in shown
    for host in ("phone", "tonight", "owner", "keeper"):
        assert re.search(rf"{host} +page /en/\S+: \S+", shown), f"{host}'s page has no headline"
    assert "/enter/" not in shown, "an address that ends with the night is of no use"
    assert (tmp_path / "demo.sqlite").exists()


def test_pages_that_stay_have_one_address_a_role_which_lets_in(tmp_path, monkeypatch):
    pytest.importorskip("aiosmtpd")
    pytest.importorskip("fastapi")
    answered = []

    def look(self, logbook, postbox):
        for host, rest in re.findall(r"http://(\w+)\.localhost:(\S+)", said.getvalue()):
            with urlopen(f"http://127.0.0.1:{rest}", timeout=20) as page:
                answered.append((host, "Is this you?" in page.read().decode()))

    monkeypatch.setattr(demo.Demo, "stay", look)
    said = io.StringIO()
    screen = Console(file=said, width=200, color_system=None)
    assert demo.run(screen, pace=0, ask=False, keep=tmp_path, stay=True) == 0
    assert answered == [("phone", True), ("tonight", True), ("owner", True), ("keeper", True)]


def test_a_port_that_is_taken_is_told_before_anything_is_begun(tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        with pytest.raises(Refusal, match=rf"Port {port} .* Nothing was begun"):
            demo.run(Console(file=io.StringIO()), pace=0, ask=False, keep=tmp_path, port=port)
    assert not (tmp_path / "demo.sqlite").exists()
