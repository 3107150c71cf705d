"""Entries of the fleet's own log: its name, its sites, its machines' plates, its policy."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar

from pydantic import BaseModel, ConfigDict, Field

from logbook.domain.entries.base import INSIDE, Code, EntryId, Kind, MaybePrivate, PrivateText, ShortText, catalogue

WallTime = Annotated[str, Field(pattern=r"^([01]\d|2[0-3]):[0-5]\d$")]
Day = Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\d$")]
_MACHINE = "0192d5c8-0000-7000-8000-00000000000b"


class NightRule(BaseModel):
    """Expected nights: an RFC 5545 recurrence of local dates, wall-clock from and to, dates left out."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, populate_by_name=True)

    rule: ShortText
    from_: Annotated[WallTime, Field(alias="from")]
    to: WallTime
    except_: Annotated[list[Day], Field(alias="except")] = []


class SegmentFit(BaseModel):
    """Which segments a machine takes: the part to order, heads to change, abrasive when new in um."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)

    part: ShortText | None = None
    heads: Annotated[int, Field(ge=1, le=24)] | None = None
    new_um: Annotated[int, Field(ge=1, le=40_000)] | None = None


class _Fleet(Kind):
    log = "fleet"
    by = INSIDE
    strikable = False


@catalogue.add
class FleetFounded(_Fleet):
    """First of the fleet's log. `origin` names it to the outside world, for ever."""

    kind = "fleet_founded"
    meaning: ClassVar[str] = "The fleet's log begins."
    example: ClassVar[dict[str, Any]] = {
        "name": "Strait Ferries", "origin": "ferry.example/floors", "language": "en", "witness": "claims@dealer.example",
    }  # fmt: skip

    name: ShortText
    origin: ShortText
    language: ShortText = "en"
    witness: MaybePrivate = None


@catalogue.add
class SiteSet(_Fleet):
    """A site as the register knows it from now on."""

    kind = "site_set"
    meaning: ClassVar[str] = "A site was added or changed."
    example: ClassVar[dict[str, Any]] = {
        "site": "north-slip", "name": "North Slip", "zone": "America/Halifax",
        "nights": [{"rule": "FREQ=DAILY", "from": "22:00", "to": "06:00", "except": ["2026-12-25"]}],
    }  # fmt: skip

    site: Code
    name: ShortText
    zone: ShortText
    nights: list[NightRule] = []
    order: MaybePrivate = None


@catalogue.add
class MachineSet(_Fleet):
    """A machine's plate and fittings as the register knows them from now on. Its own log says the rest."""

    kind = "machine_set"
    meaning: ClassVar[str] = "A machine was added or its particulars changed."
    example: ClassVar[dict[str, Any]] = {
        "machine": _MACHINE, "code": "B7H", "segments": {"part": "D-30", "heads": 3, "new_um": 12000},
    }  # fmt: skip

    machine: EntryId
    code: Code
    segments: SegmentFit | None = None
    nights: list[NightRule] | None = None


@catalogue.add
class Settings(_Fleet):
    """Numbers of policy, in force from this entry's `recorded_at` on. A null puts the wider number back."""

    kind = "settings"
    meaning: ClassVar[str] = "Policy was changed."
    example: ClassVar[dict[str, Any]] = {"site": "north-slip", "values": {"watering.every": "P5D", "filter": False}}

    site: Code | None = None
    machine: EntryId | None = None
    values: dict[ShortText, str | int | bool | list[str] | None]


@catalogue.add
class JoinWord(_Fleet):
    """Another word on the site's plates. The old one joins nobody any more."""

    kind = "join_word"
    meaning: ClassVar[str] = "A site's joining word was changed."
    example: ClassVar[dict[str, Any]] = {"site": "north-slip", "word": "gannet"}

    site: Code
    word: PrivateText
