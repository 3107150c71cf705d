"""How this installation speaks with a text gateway: a template, checked when it is read, each error one sentence.

    [gateway]
    name = "gateway"                          # the way's name in the log; ids of messages are told apart by it
    secret_file = "/etc/logbook/gateway"      # or secret; each line of the file is a secret that is good
    listen = "127.0.0.1:8741"                 # where the gateway's posts come in, behind a reverse proxy

    [gateway.in]                              # what it posts
    id = "message.id"                         # where a field stands: a path in JSON, or the name of a form's field
    sender = "message.from"
    text = "message.text"
    at = "message.received_at"                # optional
    timestamp_header = "X-Timestamp"
    signature_header = "X-Signature"

    [gateway.receipt]                         # optional: what it posts about a message that it took over
    id = "message.id"
    state = "message.status"
    arrived = ["delivered"]
    failed = ["failed", "expired"]

    [gateway.out]                             # how it is asked to send
    url = "https://texts.example/v1/messages"
    headers = { Authorization = "Bearer {token}", Idempotency-Key = "{id}" }
    token_file = "/etc/logbook/gateway-token"
    body = { to = "{to}", text = "{text}" }
    reference = "id"                          # its name for the message, in its answer
    confirms = true

What else there is stands in `posts` and `request`.
"""

from __future__ import annotations

import base64
import binascii
import tomllib
from pathlib import Path
from typing import Literal, Self

from pydantic import Field, SecretStr, ValidationError, field_validator, model_validator

from logbook.channels.gateway.checks import Part, content, split_listen
from logbook.channels.gateway.posts import Inward, Receipts
from logbook.channels.gateway.request import Outward

SECRET_LEAST = 16
"""Characters of a secret. RFC 2104, section 3, would have as many octets as the hash; many gateways give fewer."""


class GatewaySettings(Part):
    """A gateway: what it posts, what it says of messages, how it is asked to send. At least one of `in` and `out`."""

    name: str = Field(default="gateway", pattern=r"^[a-z][a-z0-9_-]{0,31}$")
    secret: SecretStr | None = None
    secret_file: Path | None = None
    secret_is: Literal["text", "hex", "base64"] = "text"  # noqa: S105 - a form, no secret
    listen: str = "127.0.0.1:8741"
    inward: Inward | None = Field(default=None, alias="in")
    receipt: Receipts | None = None
    out: Outward | None = None

    @field_validator("listen")
    @classmethod
    def _is_place(cls, value: str) -> str:
        split_listen(value)
        return value

    @model_validator(mode="after")
    def _agree(self) -> Self:
        if self.inward is None and self.out is None:
            raise ValueError("a gateway needs [gateway.in], [gateway.out] or both")
        if self.secret is not None and self.secret_file is not None:
            raise ValueError("give secret or secret_file, not both")
        if self.receipt is not None and self.inward is None:
            raise ValueError("[gateway.receipt] needs [gateway.in], which says how posts are signed")
        if self.out is not None and self.out.confirms and self.receipt is None:
            raise ValueError("confirms needs [gateway.receipt], which says how the gateway confirms")
        if self.inward is not None:
            if self.receipt is not None and self.receipt.path == self.inward.path:
                raise ValueError("texts and receipts cannot come in at one path")
            self.secrets()  # one that is missing or cannot be read is told now
        return self

    @property
    def host(self) -> str:
        """The address to listen at."""
        return split_listen(self.listen)[0]

    @property
    def port(self) -> int:
        """The port to listen at."""
        return split_listen(self.listen)[1]

    def secrets(self) -> tuple[bytes, ...]:
        """The secrets that are good now: more than one only while the gateway is being given another.

        Read anew each time. Raises ValueError for a file that cannot be read, and for a secret that is too short.
        """
        if self.secret is not None:
            given = [self.secret.get_secret_value()]
        elif self.secret_file is not None:
            given = [line.strip() for line in content("secret_file", self.secret_file).splitlines() if line.strip()]
        else:
            raise ValueError("secret (or secret_file) is missing: posts could not be told from forged ones")
        if not given or min(map(len, given)) < SECRET_LEAST:
            raise ValueError(f"a secret has at least {SECRET_LEAST} characters")
        try:
            match self.secret_is:
                case "hex":
                    return tuple(bytes.fromhex(each) for each in given)
                case "base64":
                    return tuple(base64.b64decode(each, validate=True) for each in given)
                case _:
                    return tuple(each.encode() for each in given)
        except (ValueError, binascii.Error):
            raise ValueError(f"the secret is not {self.secret_is}, as secret_is says") from None


def read(template: str) -> GatewaySettings:
    """A template from the text of a TOML file with a table [gateway]. Raises ValueError with one sentence."""
    try:
        table = tomllib.loads(template)
    except tomllib.TOMLDecodeError as why:
        raise ValueError(f"The template is not TOML: {why}.") from None
    if not isinstance(table.get("gateway"), dict):
        raise ValueError("The template has no table [gateway].")
    try:
        return GatewaySettings.model_validate(table["gateway"])
    except ValidationError as why:
        raise ValueError(sentence(why)) from None


def sentence(why: ValidationError) -> str:
    """The first thing that is wrong. Never shows a value that pydantic's words do not, so never a secret."""
    errors = why.errors(include_url=False, include_input=False)
    first = next((error for error in errors if error["type"] == "extra_forbidden"), errors[0])
    place = ".".join(str(step) for step in ("gateway", *first["loc"]))
    if first["type"] == "extra_forbidden":
        return f"There is no setting {place}."
    if first["type"] == "missing":
        return f"The setting {place} is missing."
    message = str(first["msg"]).removeprefix("Value error, ").rstrip(".")
    return f"The setting {place} cannot be used: {message[:1].lower() + message[1:]}."
