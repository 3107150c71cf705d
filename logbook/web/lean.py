"""Styles and scripts without what only their readers need: comments, indentation, empty lines.

Promises that what is left does the same: lines stay lines, and whatever is not surely a comment stays. Works line by
line and knows no grammar: a script whose text goes over several lines (a template literal, a line that ends with a
backslash) is left as it is.
"""

from __future__ import annotations

import re

_COMMENT = re.compile(r"""("(?:\\.|[^"\\\n])*"|'(?:\\.|[^'\\\n])*')|/\*.*?\*/""", re.DOTALL)
_BEHIND = re.compile(r"""\s+// [^'"`/\\]*$""")
"""A comment behind code. With a quote or a slash in it, it might be the rest of a text or of a pattern."""


def style(text: str) -> str:
    """A style sheet, without its comments."""
    bare = _COMMENT.sub(lambda found: found[1] or "", text)
    return "\n".join(line for line in map(str.strip, bare.splitlines()) if line) + "\n"


def script(text: str) -> str:
    """A script, without its comments that are lines of their own, and those behind code that cannot be anything else."""
    lines = [line for line in map(str.strip, text.split("\n")) if line and not line.startswith("//")]
    if "/*" in text or any(line.count("`") % 2 or line.endswith("\\") for line in lines):
        return text
    return "\n".join(_BEHIND.sub("", line) for line in lines) + "\n"
