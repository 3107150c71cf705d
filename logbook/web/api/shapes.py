"""The forms of what is answered and of what is sent, as the description shows them.

Promises that instants are RFC 3339 in UTC, quantities whole numbers in the unit that their name ends with, and that no
form has a place for a name. A program passes over members that it does not know: later versions add some.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from logbook.domain.instants import Instant, text
from logbook.domain.standing import Standing

At = Annotated[str, Field(json_schema_extra={"format": "date-time"}, examples=["2026-03-09T09:30:00Z"])]
Plate = Annotated[str, Field(description="The code on the machine's plate.", examples=["B7H"])]
Uuid = Annotated[
    str,
    Field(pattern=r"^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$", examples=["0192d5c8-0000-7000-8000-000000000001"],
          description="A UUID in lower case, given by whoever first wrote the entry down."),
]  # fmt: skip
Link = Annotated[str | None, Field(description="Where the next page is; null on the last one.")]
Sites = Annotated[str, Field(description="The site's code.", examples=["north-slip"])]


class Form(BaseModel):
    """What every form shares."""

    model_config = ConfigDict(frozen=True)


class Duty(Form):
    """Something owed. `due_at` null: a while after a put-away that is still to come."""

    duty: str
    opened_by: Annotated[str | None, Field(description="The id of the entry, or the night, that opened it.")]
    due_at: At | None
    late: bool


class DueDuty(Duty):
    """Something owed, and on which machine."""

    machine: Plate
    site: Sites


class Alert(Form):
    """An alert. `serial` is the number by which people call it; `outcome` says how it ended, null while it is live.

    `acknowledged_until`: until when somebody has it in hand, by the last answer; `asked_until`: until when somebody has
    been asked to see to it and has not answered. Null where that is not so.
    """

    serial: int
    machine: Plate
    site: Sites
    duty: str
    opened_by: str
    number: int
    due_at: At
    raised_at: At
    acknowledged_until: At | None
    asked_until: At | None
    cleared_at: At | None
    outcome: str | None


State = Annotated[
    Standing,
    Field(description="Only ready and in_use may run. bare_head: a head without abrasive would cut the floor."),
]


class Machine(Form):
    """A machine in a list."""

    code: Plate
    site: Sites
    battery: Literal["flooded", "sealed", "lithium"]
    state: State


class MachineNow(Machine):
    """A machine with what is owed on it now. `seq` and `head` are its log's last entry and that one's hash."""

    zone: Annotated[str, Field(description="The site's zone, by its IANA name.")]
    commissioned_at: At
    seq: int
    head: str
    recorded_at: Annotated[At, Field(description="When the log last grew.")]
    owed: list[Duty]
    alerts: list[Alert]


class Entry(Form):
    """An entry as it stands in the log. Behind it stands a role, never a name."""

    seq: int
    id: str
    kind: str
    occurred_at: At
    recorded_at: At
    recorded_late: bool
    role: str
    unconfirmed: Annotated[bool, Field(description="Its reporter joined, and no supervisor has said yes yet.")]
    channel: str
    site: Sites
    data: dict[str, Any]
    withheld: Annotated[list[str], Field(description="Private words that this key may not read.")]
    struck_by: Annotated[str | None, Field(description="The id of the `void` that struck it.")]


class Machines(Form):
    """A page of machines, by code."""

    items: list[Machine]
    next: Link


class Entries(Form):
    """A page of a machine's log, in the order of recording."""

    machine: Plate
    items: list[Entry]
    next: Link


class Alerts(Form):
    """A page of alerts, in the order in which they were raised."""

    items: list[Alert]
    next: Link


class Due(Form):
    """A page of what is owed, by machine and then by due instant. A page holds so many machines."""

    items: list[DueDuty]
    next: Link


class Posted(BaseModel):
    """An entry that is to be recorded."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: Uuid
    machine: Annotated[str, Field(min_length=1, max_length=40)]
    kind: Annotated[str, Field(min_length=1, max_length=40)]
    occurred_at: Annotated[str | None, Field(max_length=40)] = None
    data: dict[str, Any] = {}


class Posting(BaseModel):
    """One to a hundred entries by one reporter: all are saved, or none."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    reporter: Annotated[str | None, Field(min_length=1, max_length=40)] = None
    entries: Annotated[list[Posted], Field(min_length=1, max_length=100)]


class Recorded(Form):
    """An entry that is on the disk. `repeated`: it was there already."""

    id: Uuid
    machine: Plate
    seq: int
    kind: str
    occurred_at: At
    recorded_at: At
    recorded_late: bool
    repeated: bool


class Receipt(Form):
    """What was recorded, in the order in which it was sent, and what is owed now on each machine it named."""

    entries: list[Recorded]
    owed: dict[str, list[Duty]]


class Taking(BaseModel):
    """Who takes an alert in hand."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: Uuid
    reporter: Annotated[
        str | None, Field(min_length=1, max_length=40, description="A supervisor's or owner's key in the fleet file.")
    ] = None


class Taken(Form):
    """The alert is in somebody's hands until then, and is passed on to nobody before. Only the log clears it."""

    id: Uuid
    serial: int
    until: At
    recorded_at: At
    repeated: bool


class KindForm(Form):
    """A kind of entry. `data_schema` is a JSON Schema (2020-12); `private` fields are kept apart from what is hashed."""

    kind: str
    version: int
    meaning: str
    by: Annotated[list[str], Field(description="The roles that may report it.")]
    can_be_posted: bool
    can_be_struck: bool
    private: list[str]
    data_schema: dict[str, Any]
    example: dict[str, Any]


class Kinds(Form):
    """Every kind of entry in a machine's log."""

    items: list[KindForm]


class Number(Form):
    """One number of policy. Durations are ISO 8601; a null follows another number."""

    key: str
    in_force: Annotated[Any, Field(description="A string, whole number, boolean or list of strings.")]
    default: Annotated[Any, Field(description="What is in force where nothing was set.")]
    unit: str
    meaning: str


class Numbers(Form):
    """The numbers of policy, as in force now."""

    items: list[Number]


class Health(Form):
    """How the clock is. `well` false: alerts are not raised, or not sent."""

    well: bool
    why: str
    last_step: At | None
    step_age_s: int | None
    delivery_age_s: int | None
    overdue_s: int
    waiting: Annotated[int, Field(description="Messages that wait to be sent.")]


class Explained(Form):
    """A sort of problem."""

    type: str
    title: str
    status: int
    do: str


class Sorts(Form):
    """Every sort of problem."""

    items: list[Explained]


def at(instant: Instant) -> str:
    """An instant as it is answered."""
    return text(instant)


def at_or_none(instant: Instant | None) -> str | None:
    """An instant as it is answered, or null."""
    return None if instant is None else text(instant)
