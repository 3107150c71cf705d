"""Entries that say what a machine is, where it stands and whether it may be run."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field

from logbook.domain.entries.base import INSIDE, LEADERS, Code, Kind, MaybePrivate, ShortText, catalogue

Battery = Literal["flooded", "sealed", "lithium"]
Metre = Annotated[int, Field(ge=0, le=359_999_640)]


@catalogue.add
class Commissioned(Kind):
    """First of every machine's log: from here on the machine is answered for."""

    kind = "commissioned"
    by = INSIDE
    strikable = False
    meaning: ClassVar[str] = "The machine enters the log: where it stands, its battery, its maker's serial number."
    example: ClassVar[dict[str, Any]] = {
        "site": "north-slip", "battery": "flooded", "serial": "SN-0417", "battery_set": "set-1",
        "meter_s": 36000, "warranty_from": "2026-01-15", "code": "B7H",
    }  # fmt: skip

    site: Code
    battery: Battery
    serial: ShortText | None = None
    battery_set: ShortText | None = None
    meter_s: Metre | None = None
    warranty_from: Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\d$")] | None = None
    code: Code | None = None


@catalogue.add
class Moved(Kind):
    """The machine works at another site from now on."""

    kind = "moved"
    by = LEADERS
    meaning: ClassVar[str] = "The machine was taken to another site."
    example: ClassVar[dict[str, Any]] = {"site": "harbour-hall"}

    site: Code


@catalogue.add
class BatteryFitted(Kind):
    """Another battery set: the watering clock starts anew."""

    kind = "battery_fitted"
    by = LEADERS
    meaning: ClassVar[str] = "Another battery set was fitted."
    example: ClassVar[dict[str, Any]] = {"battery": "sealed", "set": "set-2"}

    battery: Battery
    set: ShortText | None = None


@catalogue.add
class OutOfService(Kind):
    """No night is expected of the machine, and a start is reported."""

    kind = "out_of_service"
    by = LEADERS
    meaning: ClassVar[str] = "The machine is out of service; no night is expected of it."
    example: ClassVar[dict[str, Any]] = {"why": "waiting for a squeegee motor"}

    why: MaybePrivate = None


@catalogue.add
class InService(Kind):
    """Back from `out_of_service`."""

    kind = "in_service"
    by = LEADERS
    meaning: ClassVar[str] = "The machine is back in service."


@catalogue.add
class Held(Kind):
    """Do not run: the machine would harm someone, the floor or itself."""

    kind = "held"
    by = LEADERS
    meaning: ClassVar[str] = "The machine must not be run until it is released."
    example: ClassVar[dict[str, Any]] = {"why": "smell from the battery box"}

    why: MaybePrivate = None


@catalogue.add
class Released(Kind):
    """The hold is over."""

    kind = "released"
    by = LEADERS
    meaning: ClassVar[str] = "The machine may be run again."


@catalogue.add
class Retired(Kind):
    """The last fact of a machine: every open duty is overtaken and nothing opens after it."""

    kind = "retired"
    by = LEADERS
    meaning: ClassVar[str] = "The machine has left the fleet."
    example: ClassVar[dict[str, Any]] = {"why": "returned to the lessor"}

    why: MaybePrivate = None
