"""How this installation sends mail: where, how safely, as whom. Checked when read, not when the first alert is due."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Literal, Self

from pydantic import BaseModel, ConfigDict, Field, SecretStr, field_validator, model_validator

from logbook.channels.mail_out.address import checked
from logbook.channels.secrets import ip_of, secret_of

Security = Literal["implicit", "starttls", "none"]

PORTS: dict[Security, int] = {"implicit": 465, "starttls": 587, "none": 25}
"""RFC 8314, section 7.3, and RFC 5321."""

_HOST = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9.-]*[A-Za-z0-9])?", re.ASCII)


class MailSettings(BaseModel):
    """Mail out. Seconds are those of one answer of the server, but for `final_timeout`.

    `security`: `implicit` is TLS from the first byte, `starttls` is TLS before anything else is said, `none` is
    neither. There is no fourth: what is set is what happens, or nothing is sent. A certificate is always checked.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    host: str
    port: int = Field(default=0, ge=0, le=65_535)
    security: Security = "implicit"
    user: str | None = None
    password: SecretStr | None = None
    password_file: Path | None = None
    from_address: str
    from_name: str = ""
    hello: str = ""
    ca_file: Path | None = None
    timeout: float = Field(default=20.0, gt=0, le=600)
    # RFC 5321, section 4.5.3.2.6, would wait 10 min after the last dot, for a message may be taken and the answer
    # still be under way. That long, nobody else would be told anything: a second copy is the lesser evil.
    final_timeout: float = Field(default=120.0, gt=0, le=3_600)

    @field_validator("host", "hello")
    @classmethod
    def _is_host(cls, value: str) -> str:
        if value and not _HOST.fullmatch(value) and ip_of(value) is None:
            raise ValueError(f"{value!r} is not the name of a host")
        return value

    @field_validator("host")
    @classmethod
    def _has_host(cls, value: str) -> str:
        if not value:
            raise ValueError("the mail server's name is missing")
        return value

    @field_validator("from_address")
    @classmethod
    def _is_address(cls, value: str) -> str:
        return checked(value)

    @field_validator("from_name")
    @classmethod
    def _is_name(cls, value: str) -> str:
        if not value.isprintable() or len(value) > 100:
            raise ValueError("a sender's name is at most 100 characters, without line breaks")
        return value

    @model_validator(mode="after")
    def _agree(self) -> Self:
        if self.password is not None and self.password_file is not None:
            raise ValueError("give password or password_file, not both")
        given = self.password is not None or self.password_file is not None
        if (self.user is not None) != given:
            raise ValueError("user goes with a password (or password_file), and a password with a user")
        if self.user is not None and self.security == "none" and not self.is_local:
            raise ValueError("a password is not sent over an open line: set security to implicit or starttls")
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

    @property
    def says_hello_as(self) -> str:
        """The name we greet with: the one that is set, else the domain of our address."""
        return self.hello or self.from_address.rpartition("@")[2]

    def secret(self) -> str:
        """The password. Raises ValueError if its file cannot be read. Read anew each time: it may have been changed."""
        return secret_of(self.password, self.password_file)
