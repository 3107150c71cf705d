"""What the settings of several ways share: a secret given or kept in a file, and an address that is a number."""

from __future__ import annotations

import ipaddress
from pathlib import Path

from pydantic import SecretStr


def secret_of(password: SecretStr | None, password_file: Path | None) -> str:
    """The password that is set, or that stands in its file; "" if there is neither. Raises ValueError for the file."""
    if password is not None:
        return password.get_secret_value()
    if password_file is None:
        return ""
    try:
        return password_file.read_text(encoding="utf-8").rstrip("\r\n")
    except (OSError, UnicodeError) as why:
        raise ValueError(f"password_file {password_file} cannot be read ({why})") from why


def ip_of(text: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    """The address if it is a number, else None."""
    try:
        return ipaddress.ip_address(text)
    except ValueError:
        return None
