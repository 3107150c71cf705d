"""Sites by form: name, zone, expected nights, the joining word. Owners add sites; supervisors change theirs."""

from __future__ import annotations

from typing import Any
from zoneinfo import available_timezones

from fastapi import APIRouter, Request
from sqlalchemy import Connection
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from logbook.domain.door import Refused
from logbook.domain.register import Register, SiteRecord
from logbook.domain.wording.mark import mark
from logbook.intake import Draft
from logbook.web.forms import Fields, text
from logbook.web.house import House, house_of
from logbook.web.pages import Language
from logbook.web.register import nightform, preview
from logbook.web.register.fields import Field, Sheet, given, show
from logbook.web.register.ground import MEANWHILE, Meanwhile, fleet_log, form_id, machines_of, part, save, state
from logbook.web.register.supposed import BUSY, carried, shown
from logbook.web.who.visitor import Leader, NotYours, Owner, Visitor

router = APIRouter()
CODE, NAME = mark("Short code"), mark("Name")
_TAKEN = mark("There is a site with this code already. Nothing was saved; choose another.")
_WORD = mark("A joining word has 4 to 20 letters and nothing else. Nothing was saved.")
_WORD_TAKEN = mark("Another site has this joining word. Nothing was saved; choose another.")


def _zones() -> tuple[tuple[str, str], ...]:
    return tuple((name, name) for name in sorted(available_timezones()) if "/" in name and not name.startswith("Etc/"))


def _sheet(lang: str, site: SiteRecord | None, word: str, fields: FormData | None = None, seen: str = "") -> Sheet:
    def was(name: str, kept: str) -> str:
        return kept if fields is None else text(fields, name)

    parts = (
        []
        if site
        else [
            Field(
                "code",
                CODE,
                value=was("code", ""),
                hint=mark("letters and digits; stands for the site for ever"),
                needed=True,
                most=40,
            )
        ]
    )
    parts += [
        Field(
            "name",
            NAME,
            value=was("name", site.name if site else ""),
            hint=mark("as people there call it"),
            needed=True,
        ),
        Field(
            "zone",
            mark("Time zone"),
            "list",
            was("zone", site.zone if site else ""),
            mark("type a town, such as Halifax"),
            options=_zones(),
            needed=True,
        ),
        Field(
            "word",
            mark("Joining word"),
            value=was("word", word),
            hint=mark("stands on the plates; whoever texts it may join"),
            most=20,
        ),
    ]
    shown, foreign = nightform.rows(site.nights if site else ())
    if fields is not None:
        shown = nightform.entered_rows(fields)
    return Sheet(
        mark("Site") if site else mark("Add a site"),
        f"/{lang}/register/sites/{site.code}" if site else f"/{lang}/register/sites/new",
        parts,
        mark("Save the site"),
        about=site.name if site else "",
        nights=shown,
        foreign=foreign,
        hidden={"seen": seen} | ({"id": text(fields, "id", 40)} if fields is not None else {}),
        back=f"/{lang}/register",
        preview=site is not None,
    )


def _state(register: Register, code: str) -> str:
    return state((register.sites.get(code), register.words.get(code)))


@router.get("/{lang}/register/sites/new", include_in_schema=False)
def new(request: Request, lang: Language, who: Owner) -> Response:  # noqa: ARG001 - owners alone
    """An empty form."""
    return show(request, lang, _sheet(lang, None, ""))


@router.post("/{lang}/register/sites/new", include_in_schema=False)
def add(request: Request, lang: Language, who: Owner, fields: Fields) -> Response:
    """Add a site."""
    return _save(request, lang, who, fields, None)


@router.get("/{lang}/register/sites/{code}", include_in_schema=False)
def change(request: Request, lang: Language, who: Leader, code: str) -> Response:
    """A site as it stands. Raises NotYours."""
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
    site = _site(register, who, code)
    return show(request, lang, _sheet(lang, site, register.words.get(code, ""), seen=_state(register, code)))


@router.post("/{lang}/register/sites/{code}", include_in_schema=False)
def changed(request: Request, lang: Language, who: Leader, code: str, fields: Fields) -> Response:
    """Change a site. Raises NotYours."""
    return _save(request, lang, who, fields, code)


def _site(register: Register, who: Visitor, code: str) -> SiteRecord:
    site = register.sites.get(code)
    if site is None or not who.at(code):
        raise NotYours
    return site


def zone_of(said: str) -> str:
    """The zone that somebody means who writes its name, or its town where only one zone has it: `St Johns`.

    What is no zone comes back as it was said; the door says so.
    """
    names = [name for name, _shown in _zones()]
    if said in names:
        return said
    plain = said.casefold().replace(" ", "_")
    meant = [name for name in names if plain in (name.casefold(), name.casefold().rpartition("/")[2])]
    return meant[0] if len(meant) == 1 else said


def entry(fields: FormData, site: SiteRecord | None) -> dict[str, Any]:
    """What the form says of a site, as its entry's data. Raises ValueError with a sentence."""
    zone = zone_of(text(fields, "zone"))
    return given(
        site=site.code if site else text(fields, "code", 40),
        name=text(fields, "name", 200),
        zone=zone,
        order=site.order if site else None,
    ) | {"nights": nightform.read(fields, site.nights if site else (), zone)}


def _save(request: Request, lang: str, who: Visitor, fields: FormData, code: str | None) -> Response:
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
    site = None if code is None else _site(register, who, code)
    first, fleet, word = form_id(fields), fleet_log(house), text(fields, "word", 40)
    seen = text(fields, "seen", 40)
    sheet = _sheet(lang, site, "", fields, seen)
    try:
        data = entry(fields, site)
        if site is None:
            code = data.get("site", "")
        if word and not (word.isalpha() and 4 <= len(word) <= 20):
            raise ValueError(_WORD)
        if word and register.site_of_word(word) not in (None, code):
            raise ValueError(_WORD_TAKEN)
        drafts = [Draft(str(first), fleet, "site_set", data)]
        if word and word != register.words.get(str(code)):
            drafts.append(Draft(part(first, "word"), fleet, "join_word", {"site": code, "word": word}))
        where = str(code)

        def now(connection: Connection) -> str:
            return _state(house.register(connection), where)

        save(house, who, drafts, now=now, seen=seen if site else state((None, None)))
    except Meanwhile:
        if site is None:
            return show(request, lang, sheet, wrong=_TAKEN, status=409)
        return _meanwhile(request, lang, house, sheet, site.code)
    except (ValueError, Refused) as why:
        return show(request, lang, sheet, wrong=str(why), status=422)
    return RedirectResponse(f"/{lang}/register?done=saved", 303)


def _meanwhile(request: Request, lang: str, house: House, sheet: Sheet, code: str) -> Response:
    with house.store.read() as connection:
        register = house.register(connection)
    site = register.sites[code]
    sheet.hidden["seen"] = _state(register, code)
    sheet.hidden["id"] = house.intake.new_id()
    return show(
        request,
        lang,
        sheet,
        wrong=MEANWHILE,
        status=409,
        stands=[
            (NAME, site.name),
            (mark("Time zone"), site.zone),
            (mark("Nights"), "; ".join(f"{r[0]} {r[1]}-{r[2]}" for r in site.nights)),
        ],
    )


@router.post("/{lang}/register/sites/{code}/preview", include_in_schema=False)
def before(request: Request, lang: Language, who: Leader, code: str, fields: Fields) -> Response:
    """What a site's other nights would have raised last month. Raises NotYours."""
    house = house_of(request)
    with house.store.read() as connection:
        register = house.register(connection)
        if code not in register.sites or not who.at(code):
            raise NotYours
        machines = [m for m in machines_of(house, connection, who).values() if m.site == code]
    try:
        data = {**entry(fields, register.sites[code])}
        found = preview.difference(house, machines, "site_set", data)
    except preview.Busy:
        return _failed(request, lang, register.sites[code], fields, BUSY, 503)
    except ValueError as why:
        return _failed(request, lang, register.sites[code], fields, str(why), 422)
    return shown(
        request,
        lang,
        found,
        f"/{lang}/register/sites/{code}",
        carried(fields),
        str(form_id(fields)),
        f"/{lang}/register/sites/{code}",
    )


def _failed(request: Request, lang: str, site: SiteRecord, fields: FormData, why: str, status: int) -> Response:
    return show(request, lang, _sheet(lang, site, "", fields, text(fields, "seen", 40)), wrong=why, status=status)
