"""Settings of a modem: what is refused, in one sentence each."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from logbook.channels.modem import ModemSettings

GOOD = "sqlite:////var/lib/gammu/smsd.sqlite"


def test_one_line_is_enough():
    settings = ModemSettings(tables=GOOD)
    assert (settings.country, settings.reports, settings.max_age) == (None, True, 300.0)
    assert settings.number("+1 902 555 0111") == "+19025550111"


def test_postgresql_is_reached_by_the_driver_that_is_here():
    assert ModemSettings(tables="postgresql://smsd@/smsd").url.drivername == "postgresql+psycopg"


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"tables": "smsd.sqlite"}, "not an address"),
        ({"tables": "sqlite:///smsd.sqlite"}, "written from the root"),
        ({"tables": "sqlite://"}, "written from the root"),
        ({"tables": "mysql://localhost/smsd"}, "SQLite"),
        ({"country": "canada"}, "two capital letters"),
        ({"zone": "Halifax"}, "not a zone"),
        ({"zone": ""}, "not a zone"),
        ({"poll": 0}, "greater than"),
        ({"max_age": 1}, "greater than"),
        ({"nonsense": 1}, "Extra"),
    ],
)
def test_what_cannot_be_used_is_told(wrong, sentence):
    with pytest.raises(ValidationError, match=sentence):
        ModemSettings(**{"tables": GOOD, **wrong})
