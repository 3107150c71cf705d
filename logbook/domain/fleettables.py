"""The tables of FLEET.toml, one class each: which keys there are, and in which form.

Promises that a value which passes is in the form in which the log keeps it (instants in UTC, numbers of policy in
their one spelling, phones in E.164). What only shows between tables, `logbook.domain.fleetfile` checks.
"""

from __future__ import annotations

import json
import re
from datetime import date, datetime
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from logbook.domain import instants
from logbook.domain.calendar import zone
from logbook.domain.entries.base import Code, ShortText
from logbook.domain.entries.facts import Battery
from logbook.domain.entries.fleet import NightRule, SegmentFit
from logbook.domain.entries.people import PersonRole
from logbook.domain.people import phone_key
from logbook.domain.policy import Value, check
from logbook.domain.policy_forms import quiet_of


def _checked_policy(values: Any) -> Any:
    return check(values) if isinstance(values, dict) else values


def _checked_zone(name: Any) -> Any:
    if isinstance(name, str):
        zone(name)
    return name


def _instant_text(value: Any) -> Any:
    """TOML has dates of its own; the log has RFC 3339 text. Without an offset no instant is meant."""
    if isinstance(value, datetime) and value.tzinfo is not None:
        return instants.text(instants.from_datetime(value))
    if isinstance(value, date):
        raise ValueError(f'{value} names no instant; write one with its offset, such as "2026-03-01T08:00:00-04:00"')
    return instants.text(instants.parse(value)) if isinstance(value, str) else value


def _day_text(value: Any) -> Any:
    if isinstance(value, date) and not isinstance(value, datetime):
        return value.isoformat()
    return date.fromisoformat(value).isoformat() if isinstance(value, str) else value


def _checked_phone(value: Any) -> Any:
    return phone_key(value) if isinstance(value, str) else value


def _checked_email(value: Any) -> Any:
    if isinstance(value, str) and not re.fullmatch(r"[^@\s<>,;\"]{1,64}@[^@\s<>,;\"]{1,190}", value):
        raise ValueError(f"{value!r} is not a mail address")
    return value


def _checked_quiet(value: Any) -> Any:
    if isinstance(value, str):
        quiet_of(value)
    return value


Policies = Annotated[dict[str, Value], BeforeValidator(_checked_policy)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class FleetTable(_Table):
    """`[fleet]`: who the fleet is to the outside world."""

    name: ShortText | None = None
    origin: ShortText | None = None
    language: Annotated[str, Field(pattern=r"^(en|es)$")] = "en"
    witness: Annotated[str | None, BeforeValidator(_checked_email)] = None


class Order(_Table):
    """How a site's orders are placed."""

    account: ShortText | None = None
    contact: ShortText | None = None
    email: Annotated[str | None, BeforeValidator(_checked_email)] = None


class SiteTable(_Table):
    """`[[site]]`: a place with one wall clock."""

    code: Code
    name: ShortText | None = None
    zone: Annotated[ShortText, BeforeValidator(_checked_zone)]
    nights: list[NightRule] = []
    policy: Policies = {}
    order: Order | None = None

    @property
    def order_text(self) -> str | None:
        """The order table as the private text that the log keeps, always spelt the same way."""
        if self.order is None:
            return None
        return json.dumps(self.order.model_dump(exclude_none=True), ensure_ascii=False, sort_keys=True)


class MachineTable(_Table):
    """`[[machine]]`: a plate, where it starts, and what it is made of."""

    code: Code
    site: Code
    battery: Battery | None = None
    commissioned_at: Annotated[str | None, BeforeValidator(_instant_text)] = None
    serial: ShortText | None = None
    battery_set: ShortText | None = None
    warranty_from: Annotated[str | None, BeforeValidator(_day_text)] = None
    segments: SegmentFit | None = None
    nights: list[NightRule] | None = None
    policy: Policies = {}


class PersonTable(_Table):
    """`[[person]]`: who reports and who is told. `sites` left out means all of the file's."""

    key: Annotated[str, Field(min_length=1, max_length=40)]
    name: ShortText | None = None
    role: PersonRole
    language: Annotated[str, Field(pattern=r"^(en|es)$")] = "en"
    phone: Annotated[str | None, BeforeValidator(_checked_phone)] = None
    email: Annotated[str | None, BeforeValidator(_checked_email)] = None
    sites: list[Code] | None = None
    quiet: Annotated[str | None, BeforeValidator(_checked_quiet)] = None
    # Their own word, for what a borrowed phone should not be able to say (`personal_word`).
    word: Annotated[str, Field(pattern=r"^[^\W\d_]{4,20}$")] | None = None


class FleetFile(_Table):
    """The whole file. Codes are all real ones: `auto` has been answered."""

    fleet: FleetTable = FleetTable()
    policy: Policies = {}
    site: list[SiteTable] = []
    machine: list[MachineTable] = []
    person: list[PersonTable] = []
