"""The form of a machine's plate, fittings and nights: what it asks, and the entry it says. Never writes."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from starlette.datastructures import FormData

from logbook.domain import codes, instants
from logbook.domain.instants import Instant
from logbook.domain.policy_forms import micrometres_of, show_millimetres
from logbook.domain.register import Register
from logbook.domain.wallclock import zone as zone_of
from logbook.domain.wording.mark import mark
from logbook.web.forms import text
from logbook.web.register import nightform
from logbook.web.register.fields import Field, Sheet, given
from logbook.web.register.ground import Known

BATTERIES = (
    ("flooded", mark("lead-acid, to be watered")),
    ("sealed", mark("lead-acid, sealed")),
    ("lithium", mark("lithium")),
)
PLATE = mark("Code on the plate")
_NOT_NUMBER = mark("Heads is a whole number, and the new length is in mm or in, such as 12 mm. Nothing was saved.")


def next_code(register: Register) -> str:
    """The code for the next machine: as long as the fleet's others, three characters in a new fleet."""
    lengths = [len(code) for code in register.by_code if codes.valid(code)]
    return codes.generate(max(lengths, default=3), register.by_code)


def _fittings(was: Any, known: Known | None) -> list[Field]:
    fit = known.record.segments if known else None
    return [
        Field(
            "part",
            mark("Segments: part to order"),
            value=was("part", (fit.part or "") if fit else ""),
            hint=mark("if known"),
        ),
        Field(
            "heads",
            mark("Segments: how many are changed together"),
            "number",
            was("heads", str(fit.heads or "") if fit else ""),
            mark("if known"),
        ),
        Field(
            "new",
            mark("Segments: abrasive when new"),
            value=was("new", show_millimetres(fit.new_um) if fit and fit.new_um else ""),
            hint=mark("such as 12 mm or 1/2 in; if known"),
        ),
    ]


def sheet(
    lang: str,
    sites: dict[str, str],
    code: str,
    known: Known | None,
    fields: FormData | None = None,
    seen: str = "",
    site: str = "",
) -> Sheet:
    """The form, empty, as a machine stands, or as it was filled in."""

    def was(name: str, kept: str) -> str:
        return kept if fields is None else text(fields, name)

    parts = [
        Field(
            "code",
            PLATE,
            value=was("code", code),
            hint=mark("the last character checks the others; leave it as it is unless a plate is there already"),
            needed=True,
            most=10,
        )
    ]
    if known is None:
        parts += [
            Field("site", mark("Site"), "select", was("site", site), options=tuple(sites.items()), needed=True),
            Field(
                "battery",
                mark("Battery"),
                "select",
                was("battery", ""),
                mark("it stands on the battery or in its papers"),
                options=BATTERIES,
                needed=True,
            ),
            Field("serial", mark("Maker's serial number"), value=was("serial", ""), hint=mark("if known")),
            Field(
                "battery_set",
                mark("Battery set"),
                value=was("battery_set", ""),
                hint=mark("your own mark for this set, if there is one"),
            ),
            Field(
                "warranty_from", mark("Warranty runs from"), "date", was("warranty_from", ""), mark("if it still runs")
            ),
            Field(
                "since",
                mark("Answered for since"),
                "local",
                was("since", ""),
                mark("empty: from now on; by the clock of the site"),
            ),
        ]
    parts += _fittings(was, known)
    rules = known.record.nights if known else None
    shown, foreign = nightform.rows(rules or ())
    if fields is not None:
        shown = nightform.entered_rows(fields)
    return Sheet(
        mark("Plate and fittings") if known else mark("Add a machine"),
        f"/{lang}/register/machines/{known.code}/fit" if known else f"/{lang}/register/machines/new",
        parts,
        mark("Save the machine"),
        about=known.code if known else "",
        nights=shown,
        foreign=foreign,
        night_choice=was("own_nights", "site" if rules is None else "own"),
        hidden={"seen": seen} | ({"id": text(fields, "id", 40)} if fields is not None else {}),
        back=f"/{lang}/register/machines/{known.code}" if known else f"/{lang}/register",
        preview=known is not None,
    )


def plate_entry(fields: FormData, uuid: str, known: Known | None, zone: str) -> dict[str, Any]:
    """What the form says of plate and fittings. Raises ValueError with a sentence."""
    try:
        heads = int(text(fields, "heads", 9)) if text(fields, "heads", 9) else None
        new_um = micrometres_of(text(fields, "new", 40)) if text(fields, "new", 40) else None
    except ValueError:
        raise ValueError(_NOT_NUMBER) from None
    fit = given(part=text(fields, "part", 200), heads=heads, new_um=new_um)
    data = given(machine=uuid, code=text(fields, "code", 40).upper(), segments=fit or None)
    if text(fields, "own_nights") == "own":
        data["nights"] = nightform.read(fields, (known.record.nights or ()) if known else (), zone)
    return data


def since_of(fields: FormData, zone: str) -> Instant | None:
    """Since when it is answered for, by the clock of its site; None: from now on. Raises ValueError."""
    said = text(fields, "since", 40)
    return instants.from_datetime(datetime.fromisoformat(said).replace(tzinfo=zone_of(zone))) if said else None
