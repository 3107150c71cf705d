"""`logbook link`: an address by which one gets in, with the settings' address in front of it and no other."""

from __future__ import annotations

import sqlite3


def rows(home):
    with sqlite3.connect(home / "logbook.sqlite") as raw:
        return raw.execute("SELECT purpose, person, site, expires_at - made_at, spent_at FROM link").fetchall()


def test_a_link_begins_with_the_address_of_the_settings(fleet, asked, home, monkeypatch):
    monkeypatch.setenv("LOGBOOK_BASE_ADDRESS", "https://log.ferry.example")
    said = asked("link", "ana", "--days", "3")
    assert said["link"].startswith("https://log.ferry.example/es/enter/")
    ((purpose, person, site, lasts, spent),) = rows(home)
    assert (purpose, site, lasts, spent) == ("enter", None, 3 * 86_400 * 1_000_000, None)
    assert person
    token = said["link"].rpartition("/")[2].encode()
    assert token not in (home / "logbook.sqlite").read_bytes()


def test_without_an_address_the_path_is_given_and_that_is_said(fleet, run, home):
    result = run("link", "north-slip", "--shared")
    assert result.exit_code == 0
    assert result.stdout.startswith("/en/enter/")
    assert "base_address" in result.stderr
    assert [row[:3] for row in rows(home)] == [("shared", None, "north-slip")]


def test_with_pages_and_no_address_the_link_is_good_on_this_computer(fleet, run, home):
    (home / "logbook.toml").write_text('[web]\nlisten = "0.0.0.0:8750"\n')
    result = run("link", "ana")
    assert result.stdout.startswith("http://127.0.0.1:8750/es/enter/")
    assert "this computer alone" in result.stderr


def test_nobody_and_nowhere_get_no_link(fleet, refused, home):
    assert "Nobody in this fleet" in refused("link", "nix")
    assert "no site" in refused("link", "ana", "--shared")
    assert rows(home) == []
