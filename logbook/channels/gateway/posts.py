"""The tables [gateway.in] and [gateway.receipt]: what the gateway posts, and how it signs."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, field_validator, model_validator

from logbook.channels.gateway.checks import TOKEN, Format, Part, check_paths, web_path
from logbook.channels.gateway.templates import names


class Inward(Part):
    """What the gateway posts, and how it signs. `at_within`: seconds by which its stamp of a text may be off ours.

    `add_plus`: it gives numbers with their country in front, but without the plus.
    """

    path: str = "/texts"
    format: Format = "json"
    id: str
    sender: str
    text: str
    at: str | None = None
    at_within: float = Field(default=300.0, ge=0, le=86_400)
    add_plus: bool = False
    timestamp_header: str = "X-Timestamp"
    signature_header: str = "X-Signature"
    signature: Literal["hex", "base64"] = "hex"
    signature_prefix: str = ""
    signed: str = "{timestamp}.{body}"

    @field_validator("path")
    @classmethod
    def _is_web_path(cls, value: str) -> str:
        return web_path(value)

    @field_validator("timestamp_header", "signature_header")
    @classmethod
    def _is_header(cls, value: str) -> str:
        if not TOKEN.fullmatch(value):
            raise ValueError(f"{value!r} cannot be the name of a header")
        return value

    @field_validator("signature_prefix")
    @classmethod
    def _is_plain(cls, value: str) -> str:
        if not value.isascii() or not value.isprintable():
            raise ValueError("what stands before the signature is plain letters, such as sha256=")
        return value

    @field_validator("signed")
    @classmethod
    def _signs_both(cls, value: str) -> str:
        # A timestamp that is not signed could be made new again by whoever has an old post.
        if sorted(names(value)) != ["body", "timestamp"]:
            raise ValueError("what is signed must hold {timestamp} and {body}, each once, and no other placeholder")
        return value

    @model_validator(mode="after")
    def _paths(self) -> Self:
        check_paths(self.format, id=self.id, sender=self.sender, text=self.text, at=self.at)
        if self.timestamp_header.lower() == self.signature_header.lower():
            raise ValueError("the timestamp and the signature cannot stand in one header")
        return self


class Receipts(Part):
    """What the gateway posts about a message that it took over. Other states than these say nothing yet."""

    path: str = "/receipts"
    format: Format = "json"
    id: str
    state: str
    detail: str | None = None
    arrived: tuple[str, ...] = Field(default=("delivered",), min_length=1)
    failed: tuple[str, ...] = ("failed", "undelivered", "expired", "rejected")

    @field_validator("path")
    @classmethod
    def _is_web_path(cls, value: str) -> str:
        return web_path(value)

    @field_validator("arrived", "failed")
    @classmethod
    def _one_case(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(state.casefold() for state in value)

    @model_validator(mode="after")
    def _agree(self) -> Self:
        check_paths(self.format, id=self.id, state=self.state, detail=self.detail)
        both = sorted(set(self.arrived) & set(self.failed))
        if both:
            raise ValueError(f"{both[0]!r} cannot mean both that a message arrived and that it did not")
        return self
