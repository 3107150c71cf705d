"""The demo as a visitor without a terminal gets it: it ends by itself, its pages answer, and the doubter is found out."""

from __future__ import annotations

import io
import re

import pytest
from rich.console import Console

from logbook.command import demo, demo_weeks
from logbook.command.demo_night import EVENING, FLEET
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
    for host in ("phone", "tonight", "owner", "keeper"):
        assert re.search(rf"http://{host}\.localhost:\d+/en/enter/\S{{20,}}", shown)
        assert re.search(rf"{host} +200  \S+", shown), f"{host}'s page has no headline"
    assert (tmp_path / "demo.sqlite").exists()
