"""Where one was going when asked who one is: only ever a page of ours."""

from __future__ import annotations

import re

from logbook.domain.wording import LANGUAGES

_PATH = re.compile(r"/[A-Za-z0-9._~-]+(?:/[A-Za-z0-9._~-]+)*", re.ASCII)
"""A path in plain characters: no second slash, backslash, percent sign, query, line break or other host fits."""


def own_path(said: str) -> str:
    """The path, if it is one of ours in plain characters, else "" (then one goes to one's first page)."""
    if len(said) > 200 or not _PATH.fullmatch(said) or any(part in {".", ".."} for part in said.split("/")):
        return ""
    first, second = (*said.split("/"), "")[1:3]
    if first in LANGUAGES:
        return "" if second in {"sign-in", "enter", "join"} else said
    return said if first == "m" else ""


def first_page(role: str, language: str) -> str:
    """What a person of this role looks at first."""
    return f"/{language}/{ {'cleaner': 'machines', 'keeper': 'keeper'}.get(role, 'tonight') }"
