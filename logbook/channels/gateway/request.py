"""The table [gateway.out]: how the gateway is asked to send one text, and what its answers mean."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal, Self

from pydantic import Field, SecretStr, field_validator, model_validator

from logbook.channels.gateway.checks import TOKEN, Format, Part, content, web_address
from logbook.channels.gateway.templates import is_path, names, unknown

_PLACES = ("to", "digits", "text", "id", "token")
_OURS = {"content-length", "content-type", "host", "transfer-encoding", "connection", "accept-encoding"}


class Outward(Part):
    """How the gateway is asked to send one text.

    Placeholders: {to} the number with its plus, {digits} without, {text}, {id} ours for the message and the same each
    time it is tried, {token}. `accepted`: the answers by which it has taken it over; `refused`: those that are about
    this number or text alone; 401, 403 and the rest of 4xx hold the way. `reference` "{id}": it speaks of the message
    by our id. `check`: an address to ask, with the same headers, whether we would be let in.
    """

    url: str
    method: Literal["POST", "PUT", "GET"] = "POST"
    headers: dict[str, str] = Field(default_factory=dict)
    format: Format = "json"
    body: dict[str, Any] | None = None
    accepted: tuple[int, ...] = Field(default=(200, 201, 202), min_length=1)
    refused: tuple[int, ...] = (400, 422)
    reference: str | None = None
    confirms: bool = False
    user: str | None = None
    token: SecretStr | None = None
    token_file: Path | None = None
    check: str | None = None
    ca_file: Path | None = None
    timeout: float = Field(default=20.0, gt=0, le=600)

    @field_validator("url", "check")
    @classmethod
    def _is_address(cls, value: str | None) -> str | None:
        return value if value is None else web_address(value)

    @field_validator("headers")
    @classmethod
    def _are_headers(cls, value: dict[str, str]) -> dict[str, str]:
        for name, filling in value.items():
            if not TOKEN.fullmatch(name) or name.lower() in _OURS:
                raise ValueError(f"the header {name!r} cannot be set")
            if not filling.isascii() or not filling.isprintable():
                raise ValueError(f"the header {name} holds something else than plain letters")
            if "text" in names(filling):
                raise ValueError(f"the header {name} cannot hold a text; put {{text}} in the body or the address")
        return value

    @field_validator("accepted")
    @classmethod
    def _are_good(cls, value: tuple[int, ...]) -> tuple[int, ...]:
        if not all(200 <= status <= 299 for status in value):
            raise ValueError("only answers from 200 to 299 can mean that a message was taken over")
        return value

    @field_validator("refused")
    @classmethod
    def _are_refusals(cls, value: tuple[int, ...]) -> tuple[int, ...]:
        if not all(400 <= status <= 499 and status not in (401, 403, 408, 429) for status in value):
            raise ValueError("only answers from 400 to 499 can refuse a message, and 401, 403, 408 and 429 never do")
        return value

    @model_validator(mode="after")
    def _agree(self) -> Self:
        for where, template in (("url", self.url), ("headers", self.headers), ("body", self.body)):
            odd = unknown(template, _PLACES)
            if odd is not None:
                known = ", ".join(f"{{{name}}}" for name in _PLACES)
                raise ValueError(f"{where} has a placeholder {{{odd}}}, and there are only {known}")
        said = {*names(self.url), *names(self.body), *names(self.headers)}
        if "text" not in said or not said & {"to", "digits"}:
            raise ValueError("body (or url) must hold {text}, and {to} or {digits}")
        if self.body is not None and self.method == "GET":
            raise ValueError("a GET has no body: put the placeholders into url")
        nested = any(isinstance(value, dict | list) for value in (self.body or {}).values())
        if self.format == "form" and nested:
            raise ValueError("the body of a form is a flat table")
        self._agree_on_tokens("token" in said)
        if self.reference is not None and self.reference != "{id}" and not is_path(self.reference):
            raise ValueError(f"reference {self.reference!r} is no place in its answer, such as message.id")
        if self.reference == "{id}" and "id" not in said:
            raise ValueError('reference = "{id}" needs {id} in the body, the url or a header')
        if self.confirms and self.reference is None:
            raise ValueError("confirms needs reference: without a name, nothing can be said of a message later")
        return self

    def _agree_on_tokens(self, placed: bool) -> None:
        if self.token is not None and self.token_file is not None:
            raise ValueError("give token or token_file, not both")
        given = self.token is not None or self.token_file is not None
        if given != (placed or self.user is not None):
            raise ValueError("a token (or token_file) goes with {token} in a header, or with user")
        twice = any(name.lower() == "authorization" for name in self.headers)
        if self.user is not None and (":" in self.user or twice):
            raise ValueError("user cannot hold a colon, nor go with a header Authorization")
        if self.token_file is not None:
            self.secret()  # a file that cannot be read is told now

    @property
    def is_tls(self) -> bool:
        """Whether the gateway is spoken to by https."""
        return self.url.startswith("https:")

    def secret(self) -> str:
        """The token. Raises ValueError if its file cannot be read. Read anew each time: it may have been changed."""
        if self.token is not None:
            token = self.token.get_secret_value()
        elif self.token_file is not None:
            token = content("token_file", self.token_file).strip()
        else:
            return ""
        if not token or not token.isascii() or not token.isprintable():
            raise ValueError("the token is empty, or holds something else than plain letters")
        return token
