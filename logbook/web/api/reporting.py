"""From what a program sent to drafts, and from the receipt to its answer; what the door refuses, as a problem.

Promises that whatever is wrong is told with the place where it is wrong, and that nobody is named as reporter whom
the key may not name.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pydantic import ValidationError
from starlette.responses import Response

from logbook.domain import door
from logbook.domain.entries import Kind, catalogue
from logbook.domain.entries.base import REPORTERS
from logbook.domain.instants import Instant, parse
from logbook.intake import By, Draft, Receipt
from logbook.web.api import shapes
from logbook.web.api.answers import written
from logbook.web.api.asking import Looking
from logbook.web.api.bodies import Body
from logbook.web.api.machines import duty_of
from logbook.web.api.problems import Problem, pointer
from logbook.web.api.shapes import at
from logbook.web.house import House

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


@dataclass(frozen=True, slots=True)
class Prepared:
    """Entries that may go through the door. `codes`: machine -> plate, for the answer."""

    drafts: list[Draft]
    by: By
    codes: Mapping[str, str]


def can_be_posted(kind: type[Kind]) -> bool:
    """Whether programs may post a kind: what people report about machines, and what has no address of its own."""
    return kind.log == "machine" and bool(kind.by & REPORTERS) and kind.kind not in _OTHERWISE


def prepared(sight: Looking, sent: Body) -> Prepared:
    """What a program sent, looked through. Raises Problem."""
    posting = sent.read(shapes.Posting)
    person = sight.reporter(posting.reporter, leaders="lead" in sight.key.may)
    drafts = [_draft(sight, number, each) for number, each in enumerate(posting.entries)]
    codes = {draft.log: sight.register.machines[draft.log].code for draft in drafts}
    for machine, code in codes.items():
        if not person.at(sight.site(machine)):
            raise Problem("not_allowed", _ELSEWHERE.format(code=code), code="elsewhere")
    return Prepared(drafts, By(person.uuid, person.role, CHANNEL), codes)


def answer(receipt: Receipt, codes: Mapping[str, str]) -> Response:
    """What was recorded, for the program that sent it."""
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


def record(house: House, drafts: Sequence[Draft], by: By) -> Receipt:
    """Through the door. Raises Problem for what it refuses, with the places where data is wrong."""
    try:
        return house.intake.record(drafts, by)
    except door.Refused as why:
        raise refusal(why, drafts) from why


def refusal(why: door.Refused, drafts: Sequence[Draft] = ()) -> Problem:
    """A refusal of the door as a problem."""
    sorts = {"id_reused": "id_reused", "not_allowed": "not_allowed", "unknown_machine": "not_there"}
    errors = _faults(drafts) if why.code == "bad_data" else []
    return Problem("invalid" if errors else sorts.get(why.code, "refused"), str(why), code=why.code, errors=errors)


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
