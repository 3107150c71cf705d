"""What the parts of a template have in common: their model, and what is an address, a path, a header."""

from __future__ import annotations

import ipaddress
import re
from pathlib import Path
from typing import Literal
from urllib.parse import urlsplit

from pydantic import BaseModel, ConfigDict

from logbook.channels.gateway.templates import is_path, names

Format = Literal["json", "form"]

TOKEN = re.compile(r"[!#$%&'*+.^_`|~0-9A-Za-z-]+", re.ASCII)  # RFC 9110, section 5.6.2
_WEB_PATH = re.compile(r"(?:/[A-Za-z0-9._~-]+)+", re.ASCII)


class Part(BaseModel):
    """A table of the template. A word that is no setting is an error."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


def check_paths(format: Format, **paths: str | None) -> None:
    """Raises ValueError for a path that can name no field."""
    for name, path in paths.items():
        good = path is None or (is_path(path) if format == "json" else bool(path))
        if not good:
            raise ValueError(f"{name} = {path!r} names no place: write message.id, for instance")


def web_path(value: str) -> str:
    """A path at which we are called. Raises ValueError."""
    if not _WEB_PATH.fullmatch(value) or any(step in (".", "..") for step in value.split("/")):
        raise ValueError(f"{value!r} is no path such as /texts")
    return value


def web_address(value: str) -> str:
    """An address that we call, with its placeholders. Raises ValueError."""
    try:
        parts = urlsplit(value)
        port = parts.port
    except ValueError as why:
        raise ValueError(f"the address cannot be read ({why})") from None
    plain = value.isascii() and value.isprintable() and " " not in value
    if parts.scheme not in ("https", "http") or not parts.hostname or not plain or parts.fragment or port == 0:
        raise ValueError("an address such as https://texts.example/messages is needed")
    if parts.username is not None or parts.password is not None:
        raise ValueError("an address holds no login: set user and token, or a header")
    if list(names(parts.netloc)):
        raise ValueError("the host of an address cannot be filled in")
    if "token" in names(value):
        raise ValueError("a token does not belong in an address, which others write into their logs: use a header")
    if parts.scheme == "http" and not _is_local(parts.hostname):
        raise ValueError("texts and tokens are not sent over an open line: an address outside this machine is https")
    return value


def split_listen(value: str) -> tuple[str, int]:
    """An address and a port to listen at. Raises ValueError."""
    host, _, port = value.rpartition(":")
    host = host.removeprefix("[").removesuffix("]")
    if not port.isascii() or not port.isdigit() or int(port) > 65_535 or (host != "localhost" and _ip(host) is None):
        raise ValueError(f"{value!r} is no address and port such as 127.0.0.1:8741")
    return host, int(port)


def content(setting: str, file: Path) -> str:
    """What a file of a secret holds. Raises ValueError."""
    try:
        return file.read_text(encoding="utf-8")
    except (OSError, UnicodeError) as why:
        raise ValueError(f"{setting} {file} cannot be read ({why})") from why


def _is_local(host: str) -> bool:
    address = _ip(host)
    return host == "localhost" or (address is not None and address.is_loopback)


def _ip(text: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    try:
        return ipaddress.ip_address(text)
    except ValueError:
        return None
