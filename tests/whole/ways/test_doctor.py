"""`logbook doctor` with each way set: well while both sides run, and what to do when the other side is away."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

import pytest

from logbook.bootstrap import program, routes_of
from logbook.command.examining import Finding, examine
from logbook.config import read
from logbook.domain.fleetfile import FleetFile
from logbook.intake.fleet import apply
from logbook.store import migrate
from logbook.watch.health import health
from tests.channels.mail_in.dovecot import PASSWORD, Box, Server
from tests.channels.mail_in.mails import OURS
from tests.channels.mail_out.sending import Keeper, free_port, server
from tests.channels.modem.conftest import Drawer
from tests.channels.modem.daemon import Daemon
from tests.whole.ways.gateway import Gateway
from tests.whole.ways.running import Running, founded, mail_out, real_now, running, until


def doctor(file: Path) -> dict[str, Finding]:
    """What the command finds, by what it looked at."""
    config = read(file)
    made = program(config.db)
    try:
        return {each.what: each for each in examine(made, config, routes_of(config), real_now())}
    finally:
        made.close()


@contextlib.contextmanager
def up(file: Path) -> Iterator[None]:
    """The service, once it has shown a sign of life."""
    with running(file) as one:
        until(lambda: _stepped(one), "the first step")
        yield


def _stepped(one: Running) -> bool:
    return health(one.program.store, real_now()).well


def well(found: dict[str, Finding]) -> None:
    assert {each.what: each.found for each in found.values() if each.state == "wrong"} == {}
    assert [each.do for each in found.values() if each.state == "well" and each.do] == []


def test_a_gateway_and_mail_out(gateway: Gateway, tmp_path: Path) -> None:
    port = free_port()
    file = founded(tmp_path, mail_out(port) + gateway.settings)
    away = doctor(file)
    assert (away["clock"].state, away["mail"].state, away["text"].state) == ("wrong",) * 3
    assert f"127.0.0.1:{gateway.ours}" in away["texts in"].found
    assert "logbook serve" in away["texts in"].do
    for way, whose in (("mail", "the mail server"), ("text", "the gateway")):
        assert away[way].do == f"It is tried again by itself. If it stays so, look after {whose}."
    assert "localhost cannot be reached" in away["text"].found
    with server(Keeper(), port), gateway.open():
        with up(file):
            found = doctor(file)
            well(found)
            assert str(port) in found["mail"].found
            # The text's line speaks of the gateway, and not of the mail server.
            assert str(port) not in found["text"].found
            assert f"localhost:{gateway.port}" in found["text"].found
        gateway.status = 401
        refused = doctor(file)["text"]
        assert (refused.state, refused.do) == ("wrong", "Mend the setting; what waits is not lost.")
        assert "401" in refused.found
    assert gateway.taken == []  # to look sends nobody anything


def test_a_mailbox(dovecot: Server, box: Box, tmp_path: Path) -> None:
    port = free_port()
    table = (
        f'\n[mail_in]\nhost = "127.0.0.1"\nport = {{port}}\nsecurity = "none"\nuser = "{box.user}"\n'
        f'password = "{{password}}"\nour_authserv_ids = "{OURS}"\n'
    )
    text = mail_out(port) + table.format(port=dovecot.port, password=PASSWORD)
    file = founded(tmp_path, text)
    with server(Keeper(), port), up(file):
        found = doctor(file)
        well(found)
        assert found["mail in"].found == "The mailbox can be read."
    whole = file.read_text()
    file.write_text(whole.replace(str(dovecot.port), str(free_port())))
    away = doctor(file)["mail in"]
    assert (away.state, "cannot be read now" in away.found) == ("wrong", True)
    assert "what waits in the mailbox is not lost" in away.do
    file.write_text(whole.replace(PASSWORD, "an old password"))
    refused = doctor(file)["mail in"]
    assert (refused.state, "refused our login" in refused.found) == ("wrong", True)
    file.write_text(whole.replace(f'our_authserv_ids = "{OURS}"\n', ""))
    assert "no sender is believed" in doctor(file)["mail in"].found


@pytest.mark.parametrize("drawer", ["sqlite"], indirect=True)
def test_a_modem(drawer: Drawer, daemon: Daemon, tmp_path: Path) -> None:
    folder = tmp_path / "logbook"
    folder.mkdir()
    port = free_port()
    modem = f'\n[modem]\ntables = "{drawer.url}"\nzone = "America/Halifax"\nmax_age = 10\n'
    file = founded(folder, mail_out(port) + modem)
    with server(Keeper(), port):
        with up(file):
            found = doctor(file)
            well(found)
            assert "modem" in found["text"].found
            assert str(port) not in found["text"].found
        daemon.stop()
        drawer.backdate("phones", 3_600)
        away = doctor(file)["text"]
        assert away.state == "wrong"
        assert "modem's daemon has not touched its tables for 36" in away.found
        assert "daemon" in away.do


def test_a_fleet_without_sites_machines_or_pages_is_told_what_is_missing(tmp_path: Path) -> None:
    file = tmp_path / "logbook.toml"
    file.write_text(f'db = "sqlite:///{tmp_path / "logbook.sqlite"}"\n')
    url = read(file).db
    migrate.upgrade(url)
    made = program(url)
    try:
        apply(made.intake, FleetFile.model_validate({"fleet": {"name": "K", "origin": "k.example/x"}}))
        found = examine(made, read(file), [], real_now())
    finally:
        made.close()
    missing = [each.found for each in found if each.what == "fleet"]
    assert missing == ["There is no site yet.", "There is no machine yet.", "There is no cleaner yet."]
    assert "people" not in {each.what for each in found}, "nobody can be told where there is no site"
    [pages] = [each for each in found if each.what == "pages"]
    assert (pages.state, "[web]" in pages.do) == ("look", True)


def test_pages_that_listen_to_a_whole_network_are_told_of(tmp_path: Path) -> None:
    file = founded(tmp_path, '[web]\nlisten = "0.0.0.0:8759"\n')
    made = program(read(file).db)
    try:
        found = [each for each in examine(made, read(file), [], real_now()) if each.what == "pages"]
    finally:
        made.close()
    assert [each.state for each in found] == ["wrong", "look"]
    assert "without encryption" in found[1].found
