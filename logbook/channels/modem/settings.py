"""How this installation reaches its modem's tables. Checked when read, not when the first text is due."""

from __future__ import annotations

from datetime import tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo

import phonenumbers
from pydantic import BaseModel, ConfigDict, Field, field_validator
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError


class ModemSettings(BaseModel):
    """A modem served by gammu-smsd. Times are seconds.

    `tables`: where the daemon keeps its tables: `sqlite:////var/lib/…` (the whole path) or `postgresql://…`.
    `country`: two letters (ISO 3166-1), for numbers that the network gives without their country; none: such a
    number is nobody's. `zone`: the daemon's zone, if it is not this machine's. `phone`: the daemon's PhoneID, if
    several share the tables. `reports`: ask the network whether a message arrived. `max_age`: a daemon that has not
    touched its tables for so long is away. `parts_wait`: how long the missing part of a long text is waited for.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    tables: str
    country: str | None = None
    zone: str | None = None
    phone: str = ""
    reports: bool = True
    poll: float = Field(default=2.0, ge=0.05, le=600)
    max_age: float = Field(default=300.0, ge=10, le=86_400)
    parts_wait: float = Field(default=600.0, ge=0, le=86_400)
    # The daemon holds its tables for moments only; one that holds them longer is met again at the next look.
    timeout: float = Field(default=10.0, gt=0, le=120)

    @field_validator("tables")
    @classmethod
    def _is_url(cls, value: str) -> str:
        try:
            url = make_url(value)
        except ArgumentError:
            raise ValueError("tables is not an address such as sqlite:////var/lib/gammu/smsd.sqlite") from None
        kind = url.get_backend_name()
        if kind not in ("sqlite", "postgresql"):
            raise ValueError("tables are reached in SQLite (sqlite:////…) or PostgreSQL (postgresql://…)")
        if kind == "sqlite" and not Path(url.database or "").is_absolute():
            raise ValueError("the path of tables is written from the root, with four strokes: sqlite:////var/lib/…")
        return value

    @field_validator("country")
    @classmethod
    def _is_country(cls, value: str | None) -> str | None:
        if value is not None and value not in phonenumbers.SUPPORTED_REGIONS:
            raise ValueError(f"{value!r} is not a country in two capital letters, such as CA")
        return value

    @field_validator("zone")
    @classmethod
    def _is_zone(cls, value: str | None) -> str | None:
        if value is not None:
            try:
                ZoneInfo(value)
            except (OSError, ValueError, KeyError):
                raise ValueError(f"{value!r} is not a zone, such as America/Halifax") from None
        return value

    @property
    def url(self) -> URL:
        """`tables`, with the PostgreSQL driver that we use."""
        url = make_url(self.tables)
        return url.set(drivername="postgresql+psycopg") if url.get_backend_name() == "postgresql" else url

    @property
    def wall(self) -> tzinfo | None:
        """The zone of the wall clock by which the daemon writes; None: this machine's."""
        return ZoneInfo(self.zone) if self.zone is not None else None

    def number(self, said: str) -> str | None:
        """A phone number as it is compared, `+19025550141`; None for what no phone has (a service's name, 4-digit codes).

        Judged by length and country alone, as everywhere in this program.
        """
        try:
            read = phonenumbers.parse(said, self.country)
        except phonenumbers.NumberParseException:
            return None
        if not phonenumbers.is_possible_number(read):
            return None
        return phonenumbers.format_number(read, phonenumbers.PhoneNumberFormat.E164)
