"""Which mailbox is read, how safely, and which server's word about a sender is believed. Checked when read."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Literal, Self

from pydantic import BaseModel, ConfigDict, Field, SecretStr, field_validator, model_validator

from logbook.channels.secrets import ip_of, secret_of

Security = Literal["implicit", "starttls", "none"]

PORTS: dict[Security, int] = {"implicit": 993, "starttls": 143, "none": 143}
"""RFC 8314, section 7.3, and RFC 9051."""

_HOST = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9.-]*[A-Za-z0-9])?", re.ASCII)
_SERVER_ID = re.compile(r"[!-:<-~]+", re.ASCII)


class MailInSettings(BaseModel):
    """Mail in. Times are seconds.

    `security`: `implicit` is TLS from the first byte, `starttls` is TLS before anything else is said, `none` is
    neither; a certificate is always checked. `our_authserv_ids`: the names that our own mail server writes first
    into Authentication-Results (RFC 8601); with none, no sender is believed and all mail is kept aside.
    `authserv_headers`: how many such fields our server writes on **every** mail, always at its top.
    `idle`: at most so long is waited for the server to speak up before it is asked again; `poll`: the same for a
    server that cannot speak up. `longest_wait`: the most that is waited between attempts to connect.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    host: str
    port: int = Field(default=0, ge=0, le=65_535)
    security: Security = "implicit"
    user: str = Field(min_length=1)
    password: SecretStr | None = None
    password_file: Path | None = None
    folder: str = Field(default="INBOX", min_length=1)
    done_folder: str | None = Field(default=None, min_length=1)
    our_authserv_ids: tuple[str, ...] = ()
    authserv_headers: int = Field(default=1, ge=1, le=9)
    max_bytes: int = Field(default=256 * 1024, ge=4_096, le=16 * 1024 * 1024)
    # RFC 2177 allows 29 min; routers on the way forget a silent line much sooner.
    idle: float = Field(default=240.0, gt=0, le=1_740)
    poll: float = Field(default=30.0, gt=0, le=3_600)
    timeout: float = Field(default=30.0, gt=0, le=600)
    longest_wait: float = Field(default=300.0, gt=0, le=3_600)
    ca_file: Path | None = None

    @field_validator("host")
    @classmethod
    def _is_host(cls, value: str) -> str:
        if not _HOST.fullmatch(value) and ip_of(value) is None:
            raise ValueError(f"{value!r} is not the name of a host")
        return value

    @field_validator("our_authserv_ids", mode="before")
    @classmethod
    def _several(cls, value: object) -> object:
        # One name may be written as it is, and several in the environment with commas between.
        return tuple(name.strip() for name in value.split(",") if name.strip()) if isinstance(value, str) else value

    @field_validator("our_authserv_ids")
    @classmethod
    def _are_ids(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        for name in value:
            if not _SERVER_ID.fullmatch(name):
                raise ValueError(f"{name!r} is not a name that a server writes into Authentication-Results")
        return tuple(name.lower() for name in value)

    @model_validator(mode="after")
    def _agree(self) -> Self:
        if (self.password is None) == (self.password_file is None):
            raise ValueError("give password or password_file, one of them")
        if self.security == "none" and not self.is_local:
            raise ValueError("a password is not sent over an open line: set security to implicit or starttls")
        if self.done_folder == self.folder:
            raise ValueError("done_folder is where mails go from folder: it must be another one")
        if self.password_file is not None:
            self.secret()  # a file that cannot be read is told now
        return self

    @property
    def is_local(self) -> bool:
        """Whether the server is this very machine."""
        address = ip_of(self.host)
        return self.host == "localhost" or (address is not None and address.is_loopback)

    @property
    def to_port(self) -> int:
        """The port that is set, or the usual one."""
        return self.port or PORTS[self.security]

    def secret(self) -> str:
        """The password. Raises ValueError if its file cannot be read. Read anew each time: it may have been changed."""
        return secret_of(self.password, self.password_file)
