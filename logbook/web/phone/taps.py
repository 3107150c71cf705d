"""What a phone's queue sends: taps, their taking back, photographs; and the state that a page shows anew.

Promises an answer by which the phone knows what to do with what it keeps: 201 or 200, it is in the log; 422, it is
refused for good, and the sentence says what to do; anything else, keep it and try again. A tap comes with the proof of
who wrote it down (`writer.py`), not with whoever is signed in when it is sent.
"""

from __future__ import annotations

import json
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Request
from pydantic import BaseModel, ConfigDict, Field, ValidationError
from starlette.datastructures import FormData
from starlette.responses import JSONResponse, Response

from logbook.domain.door import Refused, checked
from logbook.domain.instants import Instant
from logbook.domain.owed import pressing
from logbook.domain.people import Person
from logbook.domain.tapcode import is_tap, new_tap
from logbook.domain.wording import times
from logbook.domain.wording.duties import duty_label
from logbook.domain.wording.labels import entry_label
from logbook.domain.wording.mark import mark
from logbook.store import StoreError
from logbook.web.forms import open_form, text
from logbook.web.ground import Ground, ground_of
from logbook.web.house import House, house_of
from logbook.web.pages import Language, words
from logbook.web.phone import photos
from logbook.web.phone.shown import shown
from logbook.web.phone.taking import Act, NotTaken, Taken, answer, of_tap, take, take_back, theirs, told
from logbook.web.phone.writer import written_by
from logbook.web.who.visitor import NotYours, Visitor, need

router = APIRouter(include_in_schema=False)
BODY_MOST = 20_000
"""Octets of a tap: words, and no picture."""
RETRY = {"Retry-After": "30"}

NOT_YOURS = mark("This machine is not one of yours. Nothing was saved. Tell your supervisor.")
UNREADABLE = mark("This was not readable. Nothing was saved. Open the page anew and do it once more.")
AGAIN = mark("It could not be saved just now. It is kept on this phone, and sent again.")
UNKNOWN = mark("It is not known who wrote this. It is kept on this phone. Sign in once more.")

_Tap = Annotated[str, Field(min_length=10, max_length=10)]


class _Body(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    writer: Annotated[str, Field(max_length=200)]
    tap: _Tap


class _Act(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    kind: Annotated[str, Field(max_length=40)]
    data: dict[str, Any] = {}


class TapBody(_Body):
    """A tap. `age_ms`: how long ago it was made, by the phone's own running clock, which nobody sets."""

    age_ms: int = 0
    acts: Annotated[list[_Act], Field(min_length=1, max_length=8)]
    told: Literal["card"] | None = None


class UndoBody(_Body):
    """A taking back. `undo_of`: the code of a tap, or ids of entries."""

    undo_of: (
        Annotated[str, Field(max_length=40)]
        | Annotated[list[Annotated[str, Field(max_length=40)]], Field(max_length=24)]
    )


async def body(request: Request) -> bytes:
    """A dependency: the body, read within bounds; b"" if it is longer."""
    raw = await request.body()
    return raw if len(raw) <= BODY_MOST else b""


Raw = Annotated[bytes, Depends(body)]


@router.post("/{lang}/m/{code}/taps")
def taps(request: Request, lang: Language, code: str, raw: Raw) -> Response:
    """Take a tap."""
    house, said = house_of(request), words(lang, "phone")
    try:
        sent = TapBody.model_validate_json(raw)
        person, ground = _from(house, sent, code)
        acts = [Act(each.kind, _checked(each)) for each in sent.acts]
        at = None if sent.age_ms <= 0 else ground.now - sent.age_ms * 1_000
        taken = take(house, ground, person, sent.tap, acts, at, card=sent.told == "card")
    except Exception as why:  # noqa: BLE001 - each is answered so that the phone knows what to do; the rest goes on up
        return _refusal(why, lang)
    return _answer(taken, ground, person, lang, answer(taken, ground, person, said))


def take_back_json(house: House, lang: str, code: str, raw: bytes) -> Response:
    """Take a tap back: the same address as for forms, which tells them apart (`routes.py`)."""
    said = words(lang, "phone")
    try:
        sent = UndoBody.model_validate_json(raw)
        person, ground = _from(house, sent, code)
        of = [sent.undo_of] if isinstance(sent.undo_of, str) else sent.undo_of
        ids = [id_ for each in of for id_ in (of_tap(each) if is_tap(each) else [each])]
        taken = take_back(house, ground, person, sent.tap, ids)
    except Exception as why:  # noqa: BLE001 - as above
        return _refusal(why, lang)
    return _answer(taken, ground, person, lang, answer(taken, ground, person, said, back=True))


@router.post("/{lang}/m/{code}/photo")
def photo(request: Request, lang: Language, code: str, fields: Annotated[FormData, Depends(open_form)]) -> Response:
    """Add a photograph (a form: writer, tap, photo) to the fault that this tap told."""
    house, said = house_of(request), words(lang, "phone")
    picture = photos.sent(fields)
    try:
        sent = _Body(writer=text(fields, "writer"), tap=text(fields, "tap"))
        person, ground = _from(house, sent, code)
        refused = photos.add(house, ground, person, sent.tap, picture)
        if refused is not None:
            raise NotTaken(photos.REFUSED[refused])
        with house.store.read() as connection:
            say = told(connection, ground_of(house, connection, person, code), person, sent.tap, said)
    except Exception as why:  # noqa: BLE001 - as above
        return _refusal(why, lang)
    return JSONResponse({"say": say}, 201)


@router.get("/{lang}/m/{code}/state")
def state(request: Request, lang: Language, code: str, who: Annotated[Visitor, Depends(need())]) -> Response:
    """What the page's sentences and largest button say now."""
    house, said = house_of(request), words(lang, "phone")
    with house.store.read() as connection:
        ground = ground_of(house, connection, who.person, code)
        view = shown(connection, ground, who.person, said, lambda: new_tap(house.draw))
    return JSONResponse({
        "code": view.code, "phase": view.phase, "say": view.last, "last_at": view.last_at,
        "stop": None if view.stop is None else {"title": view.stop.title, "why": view.stop.why},
        "lines": [{"mark": line.mark, "text": line.text} for line in view.lines],
        "likely": None if view.big is None else {"kind": view.big.kind, "label": view.big.label},
        "others": [{"kind": each.kind, "label": each.label} for each in view.others],
        "owed": _owed(view.owed, ground, lang),
        "last": None if view.back is None else {"say": view.back.said, "undo_of": list(view.back.ids)},
    })  # fmt: skip


# -- parts ------------------------------------------------------------------------------------------------------


class _UnknownWriter(Exception):
    """Whose tap it is cannot be known."""


def _from(house: House, sent: _Body, code: str) -> tuple[Person, Ground]:
    """Who wrote it down, and the machine it is about. Raises _UnknownWriter, NotYours or NotTaken."""
    with house.store.read() as connection:
        person = written_by(house, connection, sent.writer)
        if person is None:
            raise _UnknownWriter
        if not is_tap(sent.tap):
            raise NotTaken(UNREADABLE)
        return person, ground_of(house, connection, person, code)


def _checked(act: _Act) -> dict[str, Any]:
    """The data of an act as its kind allows it. What else may stand in an entry is not a phone's to say."""
    if {"told", "corrects"} & act.data.keys():
        raise NotTaken(UNREADABLE)
    if any("\0" in each for each in act.data.values() if isinstance(each, str)):
        raise NotTaken(UNREADABLE)  # not every database can keep it
    checked(act.kind, act.data)
    return act.data


def _answer(taken: Taken, ground: Ground, person: Person, lang: str, say: str) -> JSONResponse:
    saved = [
        {"kind": each.kind, "label": entry_label(each.kind, lang), "at": _time(each.at, ground, lang), "id": each.id}
        for each in taken.saved
    ]
    owed = _owed(theirs(taken.owed, person), ground, lang)
    return JSONResponse({"saved": saved, "say": say, "owed": owed}, 200 if taken.again else 201)


def _owed(owed: Any, ground: Ground, lang: str) -> list[dict[str, Any]]:
    return [
        {"duty": each.duty, "label": duty_label(each.duty, lang), "late": each.late,
         "due": None if each.due is None else _time(each.due, ground, lang)}
        for each in pressing(tuple(owed), ground.now)
    ]  # fmt: skip


def _time(at: Instant, ground: Ground, lang: str) -> str:
    return times.moment(at, ground.site.zone, lang, ground.now)


def _refusal(why: Exception, lang: str) -> JSONResponse:
    """What is wrong, as the phone's queue reads it. What is nobody's fault is raised again."""
    said = words(lang, "phone")
    match why:
        case _UnknownWriter():
            return JSONResponse({"say": said.plain(UNKNOWN)}, 401)
        case NotYours():
            return JSONResponse({"say": said.plain(NOT_YOURS)}, 404)
        case NotTaken():
            return JSONResponse({"say": said.plain(why.sentence)}, 422)
        case ValidationError() | Refused() | json.JSONDecodeError():
            return JSONResponse({"say": said.plain(UNREADABLE)}, 422)
        case StoreError():
            return JSONResponse({"say": said.plain(AGAIN)}, 503, headers=RETRY)
    raise why
