"""Tonight's addresses: the page, its parts for the script, its news, and what is done on it.

Every act answers with 303 back to the page, which says what was done, or why not.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from sse_starlette import EventSourceResponse
from starlette.datastructures import FormData
from starlette.responses import JSONResponse, RedirectResponse, Response

from logbook.domain import door
from logbook.domain.wording.mark import mark
from logbook.web.forms import Fields, text
from logbook.web.house import house_of
from logbook.web.pages import Language, render, words
from logbook.web.tonight.acts import Acts, Named, Not
from logbook.web.tonight.live import OPEN_MOST, stream
from logbook.web.tonight.room import room_of, spans
from logbook.web.who.visitor import Leader, NotYours, Visitor, visitor

router = APIRouter(include_in_schema=False)

DONE: dict[str, str] = {
    "taken": mark("%(code)s is in your hands now. It stays on this page until the log hears that it was done."),
    "passed": mark("Asked. %(code)s stays late here until they answer; if they do not, the next in line is told."),
    "excused": mark("Excused on %(code)s, with your reason. It never counts as done."),
    "back": mark("%(code)s is in nobody's hands again. If nobody takes it, the next in line is told."),
    "unexcused": mark("Struck: %(code)s is not excused. What you excused stands as before; the log shows both."),
    "theirs": mark("The text is theirs now, and what it says was saved."),
    "nobodys": mark("The text stays as it came, and waits for nobody any more."),
    "accepted": mark("Accepted: what they report counts like everybody's."),
    "refused": mark("Set aside: that number reports nothing any more."),
}
NOT: dict[str, str] = {
    "over": mark("That was over already on %(code)s: done, struck or excused meanwhile. Nothing was changed."),
    "meanwhile": mark(
        "Somebody else has answered for %(code)s meanwhile. Nothing was changed; look at the row once more."
    ),
    "nobody": mark("That can be asked only of another leader of this site who can be reached. Nothing was changed."),
    "why": mark("Excusing %(code)s needs a reason. Nothing was changed; write one."),
    "long": mark("That was too long ago to be taken back here. Nothing was changed."),
    "text": mark("That text does not wait any more: somebody has dealt with it. Nothing was changed."),
    "unread": mark(
        "What it says could not be read as theirs either, so it still waits. Write down yourself what it tells."
    ),
    "answered": mark("That number has been answered already. Nothing was changed."),
    "refused": mark("The log did not take it. Nothing was changed; look at the row once more."),
}
_ID = re.compile(r"[0-9a-f-]{36}")
_CODE = re.compile(r"[A-Za-z0-9_. -]{1,40}")


@dataclass(frozen=True, slots=True)
class Said:
    """What the page says about what was just tried. `undo`: the entry of the caller's that can be taken back, of the
    machine `code`; "" if there is none.
    """

    well: bool
    sentence: str
    undo: str = ""
    code: str = ""
    form_id: str = ""


@router.get("/{lang}/tonight")
def page(request: Request, lang: Language, leader: Leader) -> Response:
    """The page; while there is no machine yet, the Register, where one is added."""
    house = house_of(request)
    with house.store.read() as connection:
        empty = not house.register(connection).machines
    return RedirectResponse(f"/{lang}/register", 303) if empty else _page(request, lang, leader)


def _page(request: Request, lang: str, leader: Visitor, said: Said | None = None, status: int = 200) -> Response:
    room = room_of(request)
    board = room.board(leader, lang)
    named: Named | None = None
    if "named" in request.query_params:
        named = Acts(room.house, leader).named(request.query_params["named"][:64])
    return render(
        request, "tonight.html", lang, "tonight", status=status, board=board, version=room.version(board),
        fragment=room.fragment(request, board, leader, lang), said=said or _said(request, lang), named=named,
        spans=spans(lang),
    )  # fmt: skip


def _said(request: Request, lang: str) -> Said | None:
    asked = request.query_params
    well = DONE.get(asked.get("done", ""))
    ill = NOT.get(asked.get("not", ""))
    found = well or ill
    if found is None:
        return None
    code = asked.get("on", "") if _CODE.fullmatch(asked.get("on", "")) else ""
    undo = asked.get("undo", "") if well and _ID.fullmatch(asked.get("undo", "")) else ""
    new_id = house_of(request).intake.new_id() if undo else ""
    return Said(ill is None, words(lang, "tonight").plain(found, code=code), undo, code, new_id)


@router.get("/{lang}/tonight/rows.json")
def rows(request: Request, lang: Language) -> Response:
    """The board for the script: what it builds the page anew from, and the sentences that stand beside it."""
    leader = _leader(request)
    if leader is None:
        return JSONResponse({"signed_in": False}, 401)
    room = room_of(request)
    board = room.board(leader, lang)
    beside = {
        "version": room.version(board), "title": board.title, "headline": board.headline, "now": board.now // 1000,
        "clock": board.clock, "day": board.day, "looked": (board.looked or 0) // 1000,
    }  # fmt: skip
    said = f'{json.dumps(beside)[:-1]},"tree":{room.parts(request, board, leader, lang)}}}'
    return Response(said, media_type="application/json")


@router.get("/{lang}/tonight/live")
async def live(request: Request, lang: Language) -> Response:
    """The page's news, for as long as it is open and its reader is signed in."""
    room = room_of(request)
    if room.news.open >= OPEN_MOST:
        return Response("Too many pages listen. Look again in a while.", 503, headers={"Retry-After": "60"})

    def look() -> tuple[str, int] | None:
        if hasattr(request.state, "visitor"):
            del request.state.visitor  # looked up anew each time: what was revoked is over
        leader = _leader(request)
        if leader is None:
            return None
        board = room.board(leader, lang)
        return room.version(board), (board.looked or 0) // 1000

    headers = {"X-Accel-Buffering": "no", "Cache-Control": "no-store"}
    return EventSourceResponse(stream(room.news, look), headers=headers, ping=25)


def _leader(request: Request) -> Visitor | None:
    found = visitor(request)
    return found if found is not None and found.leads else None


# -- acts -------------------------------------------------------------------------------------------------------


@router.post("/{lang}/tonight/take")
def take(request: Request, lang: Language, leader: Leader, fields: Fields) -> Response:
    """I see to it."""
    acts = Acts(house_of(request), leader)
    return _done(
        lang,
        "taken",
        fields,
        lambda: acts.take(_id(fields), _serials(fields), text(fields, "seen"), text(fields, "for")),
    )


@router.post("/{lang}/tonight/pass")
def pass_on(request: Request, lang: Language, leader: Leader, fields: Fields) -> Response:
    """Pass on to a chosen leader."""
    acts = Acts(house_of(request), leader)
    return _done(
        lang,
        "passed",
        fields,
        lambda: acts.pass_on(_id(fields), _serials(fields), text(fields, "seen"), text(fields, "to")),
    )


@router.post("/{lang}/tonight/excuse")
def excuse(request: Request, lang: Language, leader: Leader, fields: Fields) -> Response:
    """Excuse a duty, because."""
    acts = Acts(house_of(request), leader)
    duty, _space, opened_by = text(fields, "duty").partition(" ")
    why = text(fields, "why", 300)
    return _done(
        lang, "excused", fields, lambda: acts.excuse(_id(fields), text(fields, "machine"), duty, opened_by, why)
    )


@router.post("/{lang}/tonight/back")
def give_back(request: Request, lang: Language, leader: Leader, fields: Fields) -> Response:
    """I do not see to it after all."""
    acts = Acts(house_of(request), leader)
    return _done(lang, "back", fields, lambda: acts.give_back(_id(fields), _serials(fields), text(fields, "seen")))


@router.post("/{lang}/tonight/undo")
def unexcuse(request: Request, lang: Language, leader: Leader, fields: Fields) -> Response:
    """What was excused a moment ago is not."""
    acts = Acts(house_of(request), leader)
    entry = door.id_checked(text(fields, "entry"))
    return _done(lang, "unexcused", fields, lambda: acts.unexcuse(_id(fields), entry))


@router.post("/{lang}/tonight/name")
def name(request: Request, lang: Language, leader: Leader, fields: Fields) -> Response:
    """Open the name behind the last act, on purpose."""
    Acts(house_of(request), leader).open_name(_id(fields), text(fields, "entry"))
    return RedirectResponse(f"/{lang}/tonight?{urlencode({'named': _id(fields)})}", 303)


@router.post("/{lang}/tonight/text")
def kept_text(request: Request, lang: Language, leader: Leader, fields: Fields) -> Response:
    """A text that was kept aside: somebody's, or nobody's."""
    acts = Acts(house_of(request), leader)
    which = text(fields, "text", 200)
    if text(fields, "nobody"):
        return _done(lang, "nobodys", fields, lambda: acts.put_aside(which))
    return _done(lang, "theirs", fields, lambda: acts.take_text(which, text(fields, "person")))


@router.post("/{lang}/tonight/newcomer")
def newcomer(request: Request, lang: Language, leader: Leader, fields: Fields) -> Response:
    """Yes or no to a number that joined."""
    answer = text(fields, "answer")
    if answer not in ("yes", "no"):
        raise NotYours
    acts = Acts(house_of(request), leader)
    accepted = answer == "yes"
    word = "accepted" if accepted else "refused"
    return _done(lang, word, fields, lambda: acts.decide(_id(fields), text(fields, "person"), accepted=accepted))


def _done(lang: str, word: str, fields: FormData, act: Callable[[], object]) -> Response:
    found = {"done": word, "on": text(fields, "on", 40)}
    if word == "excused":
        found["undo"] = _id(fields)
    try:
        act()
    except Not as why:
        found = {"not": why.word, "on": text(fields, "on", 40)}
    except door.Refused:
        found = {"not": "refused", "on": text(fields, "on", 40)}
    return RedirectResponse(f"/{lang}/tonight?{urlencode(found)}", 303)


def _id(fields: FormData) -> str:
    return door.id_checked(text(fields, "form_id"))


def _serials(fields: FormData) -> list[int]:
    said = [each for each in fields.getlist("alert") if isinstance(each, str)]
    return [int(each) for each in said if each.isascii() and each.isdigit() and len(each) < 16]
