"""Photographs of what is wrong: taken in, and shown to the few who may see them.

Promises that the fault is kept whatever becomes of its picture, that nothing but a picture made anew by us is ever
kept or sent out, and that a picture which was taken back is shown to nobody.
"""

from __future__ import annotations

import base64

from starlette.datastructures import FormData, UploadFile
from starlette.responses import Response

from logbook.domain.entries.faults import PHOTO_ITEM
from logbook.domain.people import Person
from logbook.domain.tapcode import entry_id
from logbook.domain.wording.mark import mark
from logbook.evidence.form import read as read_form
from logbook.intake import Draft
from logbook.store import log, words
from logbook.web.ground import Ground, led_up
from logbook.web.house import House
from logbook.web.phone.picture import NotAPicture, kept_form
from logbook.web.phone.taking import NotTaken, own, record
from logbook.web.who.visitor import NotYours, Visitor

REFUSED = {
    "unreadable": mark("The photograph could not be read and was not kept. The report itself is saved."),
    "large": mark("The photograph is too large and was not kept. The report itself is saved."),
    "late": mark("The photograph could not be added to that report. The report itself stands as it was."),
}
"""Why a picture was not kept, by reason."""
HEADERS = {
    "Content-Security-Policy": "default-src 'none'; sandbox",
    "Content-Disposition": "inline; filename=photograph.jpg",
    "X-Content-Type-Options": "nosniff",
    "Cache-Control": "private, no-store",
}


def sent(fields: FormData) -> bytes:
    """The photograph that came with a form, b"" if none did."""
    file = fields.get("photo")
    return file.file.read() if isinstance(file, UploadFile) else b""


def add(house: House, ground: Ground, person: Person, tap: str, raw: bytes) -> str | None:
    """Add a photograph to the fault that a tap of this person's made. Answers with why not, as in REFUSED."""
    with house.store.read() as connection:
        faults = own(connection, ground, person, [entry_id(tap, "fault")])
        if not faults or faults[0].id in log.struck(connection, ground.uuid):
            return "late"
        if log.find(connection, entry_id(tap, "photo")) is not None:
            return None  # it came before, and stands
    try:
        image = base64.b64encode(kept_form(raw)).decode()
        data = {"entry": faults[0].id, PHOTO_ITEM: image}
        record(house, ground, person, [Draft(entry_id(tap, "photo"), ground.uuid, "photo", data, merge=True)])
    except NotAPicture as why:
        return why.reason
    except NotTaken:
        return "late"
    return None


def shown(house: House, who: Visitor, entry: str) -> Response:
    """The picture of a `photo` entry. Raises NotYours if there is none for this person, or none any more."""
    with house.store.read() as connection:
        row = log.find(connection, entry)
        register = house.register(connection)
        if row is None or row.kind != "photo" or row.machine not in register.machines:
            raise NotYours
        ground = led_up(house, connection, register, register.machines[row.machine])
        if ground is None or not who.at(ground.site.code) or row.id in log.struck(connection, row.machine):
            raise NotYours
        if not who.leads and read_form(row.bytes).reporter != words.reporter_of(
            connection, row.machine, who.person.uuid
        ):
            raise NotYours
        kept = [word for word in words.of_entry(connection, row.machine, row.id) if word.item == PHOTO_ITEM]
    if not kept:
        raise NotYours
    return Response(base64.b64decode(kept[0].content), media_type="image/jpeg", headers=HEADERS)
