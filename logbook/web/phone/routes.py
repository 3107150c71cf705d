"""The phone's pages: one machine by its code, and the list of a person's machines. Every tap is a form that is sent.

Promises that all of it works without a script, that a form sent twice is recorded once, and that a machine of another
site is not there. What a script sends comes in by `taps.py`.
"""

from __future__ import annotations

from collections import defaultdict
from typing import Annotated
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Depends, Request
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from logbook.domain.people import Person
from logbook.domain.tapcode import is_tap, new_tap
from logbook.domain.wording.labels import entry_label
from logbook.domain.wording.mark import mark
from logbook.web.forms import Fields, form, open_form, text
from logbook.web.ground import Ground, ground_of, grounds_of
from logbook.web.house import House, house_of
from logbook.web.pages import Language, Words, preferred, render, words
from logbook.web.phone import machines, photos
from logbook.web.phone.acts import BUTTONS, CARDS, Unreadable, data_of
from logbook.web.phone.shown import shown
from logbook.web.phone.taking import Act, NotTaken, left, of_tap, standing, take, take_back, told
from logbook.web.phone.taps import body, take_back_json
from logbook.web.phone.when import AGO, SKIPPED, TOO_FAR, TWICE, NoSuchTime, moment, repeats
from logbook.web.phone.writer import writer_of
from logbook.web.who.visitor import Somebody, Visitor, need, visitor

router = APIRouter(include_in_schema=False)
ROOM = "phone"
NOTHING_TICKED = mark("Nothing was ticked. Nothing was saved. Tick what is done, then tap once more.")
UNREADABLE = mark("This was not readable. Nothing was saved. Open the page anew and do it once more.")
EMPTY_FAULT = mark("Nothing was chosen. Nothing was saved. Say what is wrong, in a word or two.")


@router.get("/m/{code}")
def plate(request: Request, code: str) -> Response:
    """What the plate's square code opens: the page in the reader's language."""
    return RedirectResponse(f"/{preferred(request)}/m/{quote(code, safe='')}", 303)


@router.get("/{lang}/machines")
def mine(request: Request, lang: Language, who: Somebody) -> Response:
    """The machines of the reader's sites."""
    house = house_of(request)
    with house.store.read() as connection:
        rows = machines.rows(grounds_of(house, connection, who.person), who.person, words(lang, ROOM))
    return render(request, "machines.html", lang, ROOM, sites=rows)


@router.get("/{lang}/m/{code}")
def page(request: Request, lang: Language, code: str) -> Response:
    """One machine. Who is not signed in is asked who they are, where the plate's word counts too."""
    who = visitor(request)
    if who is None:
        return RedirectResponse(f"/{lang}/join/{quote(code, safe='')}", 303)
    house, said = house_of(request), words(lang, ROOM)
    with house.store.read() as connection:
        ground = ground_of(house, connection, who.person, code)
        sentence = _told(house, ground, who.person, said, request)
    return _page(request, lang, who, ground, done=sentence)


@router.post("/{lang}/m/{code}")
def tapped(request: Request, lang: Language, code: str, who: Somebody, fields: Fields) -> Response:
    """A tap. Answered by going back to the page, which says what was saved."""
    house, picture = house_of(request), photos.sent(fields)
    with house.store.read() as connection:
        ground = ground_of(house, connection, who.person, code)
    try:
        tap, acts, whole = _acts(fields)
        at = moment(text(fields, "when"), text(fields, "at"), ground.site.zone, ground.now, text(fields, "which"))
        take(house, ground, who.person, tap, acts, at, card=whole)
    except (Unreadable, NoSuchTime, NotTaken) as why:
        return _page(request, lang, who, ground, wrong=why.sentence, fields=fields, status=422)
    query = {"saved": tap}
    if picture and any(act.kind == "fault" for act in acts):
        refused = photos.add(house, ground, who.person, tap, picture)
        if refused is not None:
            query["photo"] = refused
    return RedirectResponse(f"/{lang}/m/{ground.code}?{urlencode(query)}", 303)


async def queued(request: Request) -> bytes | None:
    """A dependency: what a phone's queue sends as JSON; None if this is a form."""
    if request.headers.get("content-type", "").startswith("application/json"):
        return await body(request)
    return None


@router.post("/{lang}/m/{code}/undo")
def undone(
    request: Request, lang: Language, code: str, raw: Annotated[bytes | None, Depends(queued)],
    opened: Annotated[FormData, Depends(open_form)],
) -> Response:  # fmt: skip
    """One's own tap, taken back. `undo_of`: that tap's code, or the ids of its entries."""
    house = house_of(request)
    if raw is not None:
        return take_back_json(house, lang, code, raw)
    fields, who = form(request, opened), need()(request)
    with house.store.read() as connection:
        ground = ground_of(house, connection, who.person, code)
    tap, of = _tap(fields)[1], text(fields, "undo_of").split()
    ids = [id_ for each in of[:24] for id_ in (of_tap(each) if is_tap(each) else [each])]
    try:
        if not is_tap(tap):
            raise NotTaken(UNREADABLE)
        back = take_back(house, ground, who.person, tap, ids)
    except NotTaken as why:
        return _page(request, lang, who, ground, wrong=why.sentence, status=422)
    kinds = ",".join(each.kind for each in back.saved)
    return RedirectResponse(f"/{lang}/m/{ground.code}?{urlencode({'back': kinds})}", 303)


@router.get("/{lang}/photo/{entry}")
def photo(request: Request, lang: Language, entry: str, who: Somebody) -> Response:  # noqa: ARG001 - the address
    """A photograph, for the leaders of its site and for whoever took it."""
    return photos.shown(house_of(request), who, entry)


# -- reading ----------------------------------------------------------------------------------------------------


def _tap(fields: FormData) -> tuple[str, str]:
    """(what was tapped, the tap's code): a button says both as `rinse:CODE`, a form of its own says `tap` apart."""
    act, _colon, tap = text(fields, "act").partition(":")
    return act, tap or text(fields, "tap")


def _acts(fields: FormData) -> tuple[str, list[Act], bool]:
    """The code of the tap, its acts, and whether they are a whole card. Raises Unreadable."""
    act, tap = _tap(fields)
    pairs = [(name, value) for name, value in fields.multi_items() if isinstance(value, str)]
    card, _dash, whole = act.partition("-")
    if card in CARDS:
        ticked = {value for name, value in pairs if name == card}
        kinds = [kind for kind in CARDS[card] if (kind in _whole(pairs, card) if whole else kind in ticked)]
        if not kinds:
            raise Unreadable(NOTHING_TICKED)
    else:
        kinds = list(dict.fromkeys([act, *(value for name, value in pairs if name == "act" and ":" not in value)]))
        whole = ""
    if not is_tap(tap) or any(kind not in BUTTONS for kind in kinds):
        raise Unreadable(UNREADABLE)
    acts = [Act(kind, data_of(kind, pairs)) for kind in kinds]
    if any(each.kind in ("fault", "note") and not each.data.get("note") for each in acts):
        raise Unreadable(EMPTY_FAULT)
    return tap, acts, bool(whole)


def _whole(pairs: list[tuple[str, str]], card: str) -> list[str]:
    """What a whole card makes, as it was shown: a step that policy left out is not told by it."""
    shown_ = [value.split() for name, value in pairs if name == f"{card}-of"]
    return shown_[0] if shown_ else list(CARDS[card])


# -- showing ----------------------------------------------------------------------------------------------------


def _told(house: House, ground: Ground, person: Person, said: Words, request: Request) -> str:
    """The answer to the tap that led here, or ""."""
    tap, back = request.query_params.get("saved", ""), request.query_params.get("back", "")
    if is_tap(tap):
        with house.store.read() as connection:
            sentence = told(connection, ground, person, tap, said)
        if sentence:
            refused = photos.REFUSED.get(request.query_params.get("photo", ""))
            return f"{sentence} {said.plain(refused)}" if refused else sentence
    kinds = [kind for kind in back.split(",") if kind in BUTTONS or kind == "photo"]
    if kinds:
        what = ", ".join(entry_label(kind, said.language) for kind in kinds[:8])
        return f"{said.plain('Taken back: %(what)s.', what=what)} {left(standing(ground), ground, person, said)}"
    return ""


def _page(
    request: Request, lang: str, who: Visitor, ground: Ground, *, done: str = "", wrong: str = "",
    fields: FormData | None = None, status: int = 200,
) -> Response:  # fmt: skip
    house, said = house_of(request), words(lang, ROOM)
    with house.store.read() as connection:
        view = shown(connection, ground, who.person, said, lambda: new_tap(house.draw))
    given = defaultdict(str, {name: value for name, value in (fields or {}).items() if isinstance(value, str)})
    return render(
        request, "phone.html", lang, ROOM, status=status, view=view, done=done, wrong=wrong, given=given, ago=AGO,
        writer=writer_of(house, who.session), line=house.line or "", machine=ground.uuid,
        zone=ground.site.zone, twice=repeats(ground.site.zone, ground.now), no_time=(TWICE, SKIPPED, TOO_FAR),
        undo_within=ground.machine.policy(ground.now).duration("undo_within").micros // 1_000_000,
    )  # fmt: skip
