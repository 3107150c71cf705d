"""A link on its way to the person it is for: by their own mail or number, never to the browser that asked.

Promises that whoever asks for one is answered alike, whether anybody is known by that address or not, and that the message
says what to do if they did not ask for it.
"""

from __future__ import annotations

import phonenumbers
import structlog
from sqlalchemy import Connection

from logbook.domain.instants import Instant
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
    return found if found is not None and found.reports else None


def send_link(house: House, said: str) -> None:
    """Send a link to whoever is known by an address or number; nothing where nobody is, or it was sent too often."""
    with house.store.read() as connection:
        person = known_by(house, house.register(connection), said)
    if person is None:
        return
    way = way_of(house, person)
    if way is None:
        _log.warning("a link was asked for and cannot be sent", address_set=bool(house.address))
        return
    try:
        admit(house, "mail_to", person.uuid)
    except TooOften:
        return  # the answer must not tell that somebody is known by that address
    house.store.write(lambda connection: _asked_for(connection, house, person, *way))


def way_of(house: House, person: Person) -> tuple[str, str] | None:
    """(way, address) by which a link would go to somebody; None where it could not: no address of ours, or of theirs."""
    if not house.address:
        return None
    return next(((way, address) for way, address in ways(person) if way in house.routes), None)


def send_enrolment(house: House, by: str, person: Person, id: str) -> bool:
    """Send somebody the link for their own phone; the same `id` again sends nothing more.

    `by`: who has it sent, by uuid. False if there is no way by which it could go. Raises TooOften.
    """
    way = way_of(house, person)
    if way is None:
        return False
    with house.store.read() as connection:
        if outbox.find(connection, id) is not None:
            return True
    admit(house, "mail_to", person.uuid)
    said = words(known_language(person.language), "who")

    def job(connection: Connection) -> None:
        if outbox.find(connection, id) is not None:
            return
        url = links.offer_in(connection, house, by, person=person.uuid)
        ask = said.plain("Here is the link by which your own phone opens the logbook. It works once, within two days:")
        other = said.plain("If you do not know what this is, leave it unopened, and ask your supervisor.")
        short = said.plain("Machine logbook: the link for your phone, good once within two days: %(link)s", link=url)
        _queue(connection, house, person, way, id, (ask, other, short), url, links.LASTS)

    house.store.write(job)
    return True


def _asked_for(connection: Connection, house: House, person: Person, way: str, address: str) -> None:
    url = links.offer_in(
        connection, house, None, person=person.uuid, purpose="sign_in", lasts=links.SENT_LASTS
    )  # fmt: skip
    said = words(known_language(person.language), "who")
    ask = said.plain("Here is the link you asked for. It works once, within two hours:")
    other = said.plain("If you did not ask for it, leave it unopened: nothing happens then.")
    short = said.plain("Your link, good once within two hours: %(link)s", link=url)
    sentences = (ask, other, short)
    _queue(connection, house, person, (way, address), house.intake.new_id(), sentences, url, links.SENT_LASTS)


def _queue(
    connection: Connection, house: House, person: Person, way: tuple[str, str], id: str,
    sentences: tuple[str, str, str], url: str, lasts: Instant,
) -> None:  # fmt: skip
    """`sentences`: what stands above the link, what below it, and all of it in one text."""
    ask, other, short = sentences
    said, now = words(known_language(person.language), "who"), house.now()
    body = "\n".join([*wrap(ask), "", url, "", *wrap(other)]) + "\n"
    outbox.queue(
        connection,
        outbox.Message(
            id=id, message_id=outbox.message_id(id, house.register(connection).origin), person=person.uuid,
            route=way[0], address=way[1], kind=KIND, subject=said.plain("Your link to the machine logbook"),
            body=fold(short) if way[0] == "text" else body, queued_at=now, ready_at=now, not_after=now + lasts,
        ),
    )  # fmt: skip
