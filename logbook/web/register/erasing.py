"""The page on which an owner has a person erased: what goes, what stays, a ground, and the question asked twice.

Never erases on one tap, nor on an address alone; and what it shows is counted by what does it.
"""

from __future__ import annotations

from fastapi import APIRouter, Depends, Request
from starlette.responses import RedirectResponse, Response

from logbook.domain.door import Refused
from logbook.domain.people import Person
from logbook.domain.wording.mark import mark
from logbook.intake import erasing
from logbook.web.forms import Fields, text
from logbook.web.house import House, house_of
from logbook.web.pages import Language, render, words
from logbook.web.who.visitor import NotYours, Owner, need

router = APIRouter()

_WHY = {
    "no_ground": mark("Say on which ground: it stays in the log. Nothing was erased."),
    "ground_names": mark("The ground stays for ever: leave their name and number out of it. Nothing was erased."),
    "last_owner": mark("This is the only owner, and nobody could act for the fleet any more. Nothing was erased."),
}
_OTHER_WORD = mark("That is not what stands above. Nothing was erased.")
_GROUNDS = (mark("asked by the person"), mark("left long ago"), mark("recorded by mistake"))


def called(person: Person) -> str:
    """What is to be typed before it happens: the name, else the key, else the beginning of their id."""
    return person.name or person.key or person.uuid[:8]


@router.get("/{lang}/register/erasing/{person}", include_in_schema=False, dependencies=[Depends(need("owner"))])
def ask(request: Request, lang: Language, person: str) -> Response:
    """What would go and what would stay. Raises NotYours."""
    return _page(request, lang, person)


@router.post("/{lang}/register/erasing/{person}", include_in_schema=False, dependencies=[Depends(need("owner"))])
def ask_again(request: Request, lang: Language, person: str, fields: Fields) -> Response:
    """The second question, with what was said to the first. Raises NotYours."""
    ground = text(fields, "other", 200) or text(fields, "ground", 200)
    if not ground:
        return _page(request, lang, person, wrong=_WHY["no_ground"], status=422)
    return _page(request, lang, person, ground=ground)


@router.post("/{lang}/register/erasing/{person}/now", include_in_schema=False)
def now(request: Request, lang: Language, who: Owner, person: str, fields: Fields) -> Response:
    """Both questions were answered. Raises NotYours, or Refused for an id that is no id."""
    house = house_of(request)
    known, ground = _person(house, person), text(fields, "ground", 200)
    if text(fields, "typed", 200).casefold() != called(known).casefold() and not _gone(house, person):
        return _page(request, lang, person, ground=ground, wrong=_OTHER_WORD, status=422)
    try:
        erasing.erase(house.intake, person, ground, who.by("form"), text(fields, "id", 40))
    except Refused as why:
        if why.code not in _WHY:
            raise
        return _page(request, lang, person, ground=ground, wrong=_WHY[why.code], status=422)
    if who.person.uuid == person:
        return RedirectResponse(f"/{lang}/sign-in", 303)
    return RedirectResponse(f"/{lang}/register/erasing/{person}", 303)


def _person(house: House, person: str) -> Person:
    with house.store.read() as connection:
        known = house.register(connection).people.get(person)
    if known is None:
        raise NotYours
    return known


def _gone(house: House, person: str) -> bool:
    with house.store.read() as connection:
        return not erasing.survey(house.intake, connection, person).anything


def _page(
    request: Request, lang: str, person: str, *, ground: str = "", wrong: str = "", status: int = 200
) -> Response:  # fmt: skip
    house = house_of(request)
    known = _person(house, person)
    with house.store.read() as connection:
        found = erasing.survey(house.intake, connection, person)
        register = house.register(connection)
        told = [line.ground for line in erasing.erased(house.intake, connection) if line.person == person]
    # Where others name them: the machine's plate, for whoever goes and reads there.
    codes = sorted({register.machines[m].code for m, _entry in found.named_by_others if m in register.machines})
    said = words(lang, "register")
    return render(
        request, "register_erasing.html", lang, "register", status=status, person=known, called=called(known),
        found=found, codes=codes, told=told, ground=ground, wrong=wrong, id=house.intake.new_id(),
        grounds=[(each, said.plain(each)) for each in _GROUNDS],
    )  # fmt: skip
