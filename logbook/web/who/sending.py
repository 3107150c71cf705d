"""A link on its way to the person it is for: by their own mail or number, never to the browser that asked.

Promises that whoever asks is answered alike, whether anybody is known by that address or not, and that the message
says what to do if they did not ask for it.
"""

from __future__ import annotations

import phonenumbers
import structlog
from sqlalchemy import Connection

from logbook.domain.people import Person, phone_key
from logbook.domain.register import Register
from logbook.domain.wording.gsm7 import fold
from logbook.domain.wording.unquotable import wrap
from logbook.store import outbox
from logbook.watch.roster import ways
from logbook.web.house import House
from logbook.web.pages import known_language, words
from logbook.web.who import links
from logbook.web.who.limits import TooOften, admit

_log = structlog.get_logger("logbook.web.who")
KIND = "link"


def number_of(house: House, said: str) -> str | None:
    """A phone number as people type it, as it is kept; without a country in front, that of our own line's."""
    text = said.strip()
    text = f"+{text[2:]}" if text.startswith("00") else text
    try:
        return phone_key(text)
    except ValueError:
        pass
    try:
        own = phonenumbers.parse(house.line or "", None)
        region = phonenumbers.region_code_for_country_code(own.country_code or 0)
        return phone_key(phonenumbers.format_number(phonenumbers.parse(text, region), _E164))
    except (phonenumbers.NumberParseException, ValueError):
        return None


_E164 = phonenumbers.PhoneNumberFormat.E164


def known_by(house: House, register: Register, said: str) -> Person | None:
    """Whose mail address or number this is, if they report here."""
    if "@" in said:
        found = register.person_by_email(said)
    else:
        number = number_of(house, said)
        found = None if number is None else register.person_by_phone(number)
    return found if found is not None and found.state in links.REPORTING else None


def send_link(house: House, said: str) -> None:
    """Send a link to whoever is known by an address or number; nothing where nobody is, or it was sent too often."""
    with house.store.read() as connection:
        person = known_by(house, house.register(connection), said)
    if person is None:
        return
    way = next(((way, address) for way, address in ways(person) if way in house.routes), None)
    if not house.address or way is None:
        _log.warning("a link was asked for and cannot be sent", address_set=bool(house.address), way=way is not None)
        return
    try:
        admit(house, "mail_to", person.uuid)
    except TooOften:
        return  # the answer must not tell that somebody is known by that address
    house.store.write(lambda connection: _queue(connection, house, person, *way))


def _queue(connection: Connection, house: House, person: Person, way: str, address: str) -> None:
    url = links.offer_in(
        connection, house, None, person=person.uuid, purpose="sign_in", lasts=links.SENT_LASTS
    )  # fmt: skip
    said, now, id_ = words(known_language(person.language), "who"), house.now(), house.intake.new_id()
    ask = said.plain("Here is the link you asked for. It works once, within two hours:")
    other = said.plain("If you did not ask for it, leave it unopened: nothing happens then.")
    short = said.plain("Your link, good once within two hours: %(link)s", link=url)
    body = "\n".join([*wrap(ask), "", url, "", *wrap(other)]) + "\n"
    outbox.queue(
        connection,
        outbox.Message(
            id=id_, message_id=outbox.message_id(id_, house.register(connection).origin), person=person.uuid,
            route=way, address=address, kind=KIND, subject=said.plain("Your link to the machine logbook"),
            body=fold(short) if way == "text" else body, queued_at=now, ready_at=now,
            not_after=now + links.SENT_LASTS,
        ),
    )  # fmt: skip
