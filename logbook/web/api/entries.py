"""What programs report. It goes through the one door, like a text and like a tap.

Promises that entries which were answered are on the disk, that those of one request are saved all or none, and that
the same entry sent again stands in the log once: its `id` is what makes it the same, so no other header is needed.
"""

from __future__ import annotations

from collections.abc import Sequence

from fastapi import APIRouter
from pydantic import ValidationError
from starlette.responses import Response

from logbook.domain import door
from logbook.domain.entries import Kind, catalogue
from logbook.domain.entries.base import REPORTERS
from logbook.domain.instants import Instant, parse
from logbook.intake import By, Draft
from logbook.intake import Receipt as Given
from logbook.web.api import shapes
from logbook.web.api.answers import written
from logbook.web.api.asking import Looking, WithKey
from logbook.web.api.bodies import Sent, contents
from logbook.web.api.machines import duty_of
from logbook.web.api.problems import Problem, pointer, shown
from logbook.web.api.shapes import at
from logbook.web.house import House

router = APIRouter()
CHANNEL = "api"
_OTHERWISE = {
    "acknowledged": "an alert is taken in hand at /alerts/{serial}/acknowledge",
    "passed_on": "an alert is passed on by a supervisor, on the pages",
    "photo": "pictures come from phones, with their content",
    "name_opened": "names are opened by people, on the pages",
    "commissioned": "a machine is commissioned by the fleet file or the Register",
}
_ELSEWHERE = "The reporter has nothing to do with the site of {code}. Nothing was saved; name somebody of that site."
_YEAR_1970, _YEAR_9999 = 0, parse("9999-01-01T00:00:00Z")


def can_be_posted(kind: type[Kind]) -> bool:
    """Whether programs may post a kind: what people report about machines, and what has no address of its own."""
    return kind.log == "machine" and bool(kind.by & REPORTERS) and kind.kind not in _OTHERWISE


@router.post("/entries", response_model=shapes.Receipt, status_code=201,
             responses={200: {"model": shapes.Receipt, "description": "All of them were there already."},
                        **shown(400, 401, 403, 404, 409, 413, 415, 422, 429, 503)},
             openapi_extra=contents(shapes.Posting), operation_id="post_entries",
             summary="Record entries", tags=["entries"])  # fmt: skip
def post(asked: WithKey, sent: Sent) -> Response:
    """Record one to a hundred entries by one reporter. All are saved, or none; answered when they are on the disk.

    Give each entry an `id` when it is first written down, and send it again with the same `id` until it is answered:
    it is kept once. The same `id` with other content is refused, and the entry that has it stands.
    """
    with asked.looking("post") as sight:
        posting = sent.read(shapes.Posting)
        person = sight.reporter(posting.reporter, leaders="lead" in sight.key.may)
        drafts = [_draft(sight, number, each) for number, each in enumerate(posting.entries)]
        named = {draft.log: each.machine for draft, each in zip(drafts, posting.entries, strict=True)}
        for machine, code in named.items():
            if not person.at(sight.site(machine)):
                raise Problem("not_allowed", _ELSEWHERE.format(code=code), code="elsewhere")
        codes = {machine: sight.register.machines[machine].code for machine in named}
    receipt = record(sight.house, drafts, By(person.uuid, person.role, CHANNEL))
    entries = [
        shapes.Recorded(
            id=each.id, machine=codes[each.log], seq=each.seq, kind=each.kind, occurred_at=at(each.occurred_at),
            recorded_at=at(each.recorded_at), recorded_late=each.late, repeated=each.repeated,
        )
        for each in receipt.entries
    ]  # fmt: skip
    owed = {codes[machine]: [duty_of(each) for each in some] for machine, some in receipt.owed.items()}
    new = not all(each.repeated for each in receipt.entries)
    return written(shapes.Receipt(entries=entries, owed=owed), new=new)


def _draft(sight: Looking, number: int, said: shapes.Posted) -> Draft:
    """An entry as the door takes it. Raises Problem with the place where it is wrong."""
    place = ("entries", number)
    found = catalogue.newest(said.kind)
    if found is None or not can_be_posted(found):
        why = _OTHERWISE.get(said.kind, "there is no such kind among those that programs may post; see /kinds")
        raise Problem("invalid", f"{pointer(*place, 'kind')}: {why}. Nothing was saved.", code="unknown_kind",
                      errors=[(pointer(*place, "kind"), why)])  # fmt: skip
    try:
        known = sight.machine(said.machine)
    except Problem as why_not:
        why_not.errors = ((pointer(*place, "machine"), "is no machine of this key's sites"),)
        raise
    return Draft(said.id, known.uuid, said.kind, said.data, _instant(place, said.occurred_at))


def _instant(place: tuple[str, int], said: str | None) -> Instant | None:
    if said is None:
        return None
    try:
        read = parse(said)
    except ValueError:
        read = -1
    if not _YEAR_1970 <= read < _YEAR_9999:
        where = pointer(*place, "occurred_at")
        raise Problem("invalid", f"{where}: write an RFC 3339 time, such as 2026-03-09T09:30:00Z. Nothing was saved.",
                      errors=[(where, "is no RFC 3339 time of these centuries")])  # fmt: skip
    return read


def record(house: House, drafts: Sequence[Draft], by: By) -> Given:
    """Through the door. Raises Problem for what it refuses, with the places where data is wrong."""
    try:
        return house.intake.record(drafts, by)
    except door.Refused as why:
        raise refusal(why, drafts) from why


def refusal(why: door.Refused, drafts: Sequence[Draft] = ()) -> Problem:
    """A refusal of the door as a problem."""
    sort = {"id_reused": "id_reused", "not_allowed": "not_allowed", "unknown_machine": "not_there"}.get(
        why.code, "refused"
    )
    errors = _faults(drafts) if why.code == "bad_data" else []
    return Problem("invalid" if errors else sort, str(why), code=why.code, errors=errors)


def _faults(drafts: Sequence[Draft]) -> list[tuple[str, str]]:
    """Where the data of entries is not as their kind wants it. Looked for only when something was."""
    found: list[tuple[str, str]] = []
    for number, draft in enumerate(drafts):
        try:
            door.kind_of(draft.kind).model_validate(dict(draft.data))
        except ValidationError as why:
            errors = why.errors(include_url=False, include_input=False, include_context=False)
            found += [(pointer("entries", number, "data", *error["loc"]), error["msg"]) for error in errors]
    return found[:20]
