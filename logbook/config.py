"""The settings of the whole program: a TOML file, and the environment, which outweighs it.

Promises that everything is checked before anything is started, and that what is wrong is told in one sentence that
names the setting. Never reads a setting anywhere else, and never shows a password.

    db = "sqlite:///logbook.sqlite"             LOGBOOK_DB
    base_address = "https://log.ferries.example" LOGBOOK_BASE_ADDRESS   (what links in messages begin with)
    log_level = "info"                          LOGBOOK_LOG_LEVEL

    [mail]                                      absent: no mail is sent
    host = "mail.ferries.example"               LOGBOOK_MAIL_HOST
    port = 465                                  LOGBOOK_MAIL_PORT       (465, 587 or 25, by security)
    security = "implicit"                       LOGBOOK_MAIL_SECURITY   (or "starttls", "none")
    user = "logbook"                            LOGBOOK_MAIL_USER
    password_file = "/etc/logbook/mail"         LOGBOOK_MAIL_PASSWORD_FILE  (or password)
    from_address = "logbook@ferries.example"    LOGBOOK_MAIL_FROM_ADDRESS
    from_name = "Machine logbook"               LOGBOOK_MAIL_FROM_NAME
    timeout = 20                                LOGBOOK_MAIL_TIMEOUT    (seconds for one answer)
    final_timeout = 120                         LOGBOOK_MAIL_FINAL_TIMEOUT  (seconds to take a message over)
    ca_file, hello                              a certificate authority of one's own; the name we greet with

    [gateway]                                   a text gateway, in and out: deploy/gateway.md
    [modem]                                     a modem in a drawer, in and out: deploy/modem.md
    [mail_in]                                   a mailbox that texts come into: deploy/mail-in.md
    [web]                                       the pages: deploy/pages.md

The last four are set in the file only.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal, Self
from urllib.parse import urlsplit

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from logbook.channels.gateway.settings import GatewaySettings
from logbook.channels.mail_in.settings import MailInSettings
from logbook.channels.mail_out.settings import MailSettings
from logbook.channels.modem.settings import ModemSettings
from logbook.web.settings import WebSettings

FILE = "logbook.toml"
"""Looked for in the working folder, unless LOGBOOK_CONFIG names another."""

_PREFIX = "LOGBOOK_"
_TABLES: dict[str, type[BaseModel]] = {
    "mail": MailSettings, "gateway": GatewaySettings, "modem": ModemSettings, "mail_in": MailInSettings,
    "web": WebSettings,
}  # fmt: skip
LogLevel = Literal["debug", "info", "warning", "error"]


class ConfigError(Exception):
    """A setting that cannot be used. One sentence, for whoever set it."""


class Config(BaseModel):
    """All settings. See the module."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    db: str = Field(default="sqlite:///logbook.sqlite", min_length=1)
    base_address: str = ""
    log_level: LogLevel = "info"
    mail: MailSettings | None = None
    gateway: GatewaySettings | None = None
    modem: ModemSettings | None = None
    mail_in: MailInSettings | None = None
    web: WebSettings | None = None

    @model_validator(mode="after")
    def _one_way_for_texts(self) -> Self:
        if self.modem is not None and self.gateway is not None and self.gateway.out is not None:
            raise ValueError("texts go out by one way: [gateway.out] or [modem], not both")
        return self

    @field_validator("base_address")
    @classmethod
    def _is_web(cls, value: str) -> str:
        value = value.rstrip("/")
        if not value:
            return value
        parts = urlsplit(value)
        plain = value.isascii() and value.isprintable() and " " not in value
        if parts.scheme not in {"http", "https"} or not parts.hostname or parts.query or parts.fragment or not plain:
            raise ValueError("links need an address such as https://log.ferries.example")
        return value

    @field_validator("log_level", mode="before")
    @classmethod
    def _in_small_letters(cls, value: object) -> object:
        return value.lower() if isinstance(value, str) else value


def read(file: Path | None = None, environment: Mapping[str, str] | None = None) -> Config:
    """The settings. `file`: which must exist then; else LOGBOOK_CONFIG's, which must too, else FILE if it is there.

    `environment`: pass `os.environ`. Raises ConfigError.
    """
    env = dict(environment or {})
    named = file or (Path(env["LOGBOOK_CONFIG"]) if env.get("LOGBOOK_CONFIG") else None)
    path = named or Path(FILE)
    table: dict[str, Any] = {}
    if named is not None or path.exists():
        table = _read_file(path)
    sources = {".".join(place): str(path) for place in _places(table)}
    mail = table.get("mail", {})
    if not isinstance(mail, dict):
        raise ConfigError(f"In {path}, mail is a table of its own, [mail], and not a single value.")
    for name, value in sorted(env.items()):
        place = _place(name)
        if place is None:
            continue
        _put(table, place, value)
        sources[".".join(place)] = name
    try:
        return Config.model_validate(table)
    except ValidationError as why:
        raise ConfigError(_sentence(why, sources, path)) from None


def _read_file(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as why:
        raise ConfigError(f"The settings in {path} cannot be read: {why.strerror or why}.") from None
    except UnicodeDecodeError:
        raise ConfigError(f"The settings in {path} are not UTF-8 text.") from None
    except tomllib.TOMLDecodeError as why:
        raise ConfigError(f"The settings in {path} are not TOML: {why}.") from None


def _place(name: str) -> tuple[str, ...] | None:
    """Where a variable of the environment belongs; None for one that is no setting of ours.

    Raises ConfigError for LOGBOOK_MAIL_ and a word that is no setting: it was meant for us, and would do nothing.
    """
    if name.startswith(f"{_PREFIX}MAIL_"):
        field = name.removeprefix(f"{_PREFIX}MAIL_").lower()
        if field not in MailSettings.model_fields:
            raise ConfigError(f"{name} is no setting.{_meant(field, MailSettings, f'{_PREFIX}MAIL_')}")
        return ("mail", field)
    if name.startswith(_PREFIX):
        field = name.removeprefix(_PREFIX).lower()
        if field in Config.model_fields and field not in _TABLES:
            return (field,)
    return None


def _put(table: dict[str, Any], place: tuple[str, ...], value: str) -> None:
    inner = table
    for step in place[:-1]:
        inner = inner.setdefault(step, {})
    # A way of giving the password outweighs the other way, as it does the same one.
    if place == ("mail", "password"):
        inner.pop("password_file", None)
    if place == ("mail", "password_file"):
        inner.pop("password", None)
    if value == "":
        inner.pop(place[-1], None)  # set to nothing: the setting's default
    else:
        inner[place[-1]] = value


def _places(table: Mapping[str, Any], before: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
    found: list[tuple[str, ...]] = []
    for name, value in table.items():
        found += _places(value, (*before, name)) if isinstance(value, dict) else [(*before, name)]
    return found


def _meant(word: str, model: type[BaseModel], prefix: str = "") -> str:
    near = difflib.get_close_matches(word, model.model_fields, n=1, cutoff=0.5)
    shown = [prefix + (each.upper() if prefix else each) for each in near]
    return f" Did you mean {shown[0]}?" if shown else ""


def _sentence(why: ValidationError, sources: Mapping[str, str], path: Path) -> str:
    """The first thing that is wrong. The value itself is shown only where pydantic's words leave it out anyway."""
    errors = why.errors(include_url=False, include_input=False)
    # A word that is no setting comes first: it is often why another is missing.
    first = next((error for error in errors if error["type"] == "extra_forbidden"), errors[0])
    place = ".".join(str(step) for step in first["loc"])
    source = sources.get(place)
    where = f"{source}" if source is not None and source.startswith(_PREFIX) else f"{place} in {source or path}"
    message = str(first["msg"]).removeprefix("Value error, ").rstrip(".")
    if not place:
        return f"The settings in {path} cannot be used: {message}."
    if first["type"] == "extra_forbidden":
        model = _TABLES.get(str(first["loc"][0]), Config) if len(first["loc"]) > 1 else Config
        return f"There is no setting {where}.{_meant(str(first['loc'][-1]), model)}"
    if first["type"] == "missing":
        variable = _PREFIX + place.upper().replace(".", "_")
        return f"The setting {place} is missing: set it in {path}, or as {variable}."
    return f"The setting {where} cannot be used: {message[:1].lower() + message[1:]}."
