"""Joining by the word on a plate: the entry that lets a stranger in, by whatever way they come.

Promises that only a word that stands on plates now lets anybody in. Never records: it makes the draft. Whether the
number is somebody's already is for the caller to see: a text proves its number, a page proves nothing.
"""

from __future__ import annotations

from sqlalchemy import Connection

from logbook.domain import door
from logbook.domain.people import phone_key
from logbook.intake.drafts import Draft
from logbook.intake.record import Intake


def joining(
    intake: Intake, connection: Connection, *, id: str, person: str, word: str, name: str, phone: str, language: str
) -> tuple[Draft, str]:
    """(the entry, the site on whose plates the word stands). `person`: the uuid that the newcomer is to have.

    Raises door.Refused: `wrong_word`, also where the number is none.
    """
    site = intake.registry.current(connection).site_of_word(word)
    if site is None:
        raise door.Refused("wrong_word", "That is not the word on a plate of this fleet.")
    try:
        number = phone_key(phone)
    except ValueError:
        raise door.Refused("wrong_word", "Joining needs a phone number.") from None
    data = {"person": person, "site": site, "language": language, "name": name, "phone": number}
    return Draft(id, intake.registry.fleet(connection), "joined", data), site
