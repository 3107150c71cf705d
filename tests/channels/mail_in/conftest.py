"""What every test of mail in may ask for."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.channels.mail_in.dovecot import Box, NotInstalledError, Server
from tests.channels.mail_out.conftest import ca
from tests.conftest import _missing

__all__ = ["ca"]


@pytest.fixture(scope="session")
def dovecot() -> Iterator[Server]:
    """The one Dovecot of this run, started for the first test that asks."""
    try:
        server = Server()
    except NotInstalledError as why:
        _missing(str(why))
    try:
        server.start()
        yield server
    finally:
        server.stop()


@pytest.fixture
def box(dovecot: Server) -> Box:
    """A new mailbox on it."""
    return dovecot.box()
