"""Writes the table of entry kinds into DEVELOPERS.md: `python -m tests.documentation`."""

from __future__ import annotations

import re
from pathlib import Path

from logbook.domain.entries import Kind, Words, catalogue

DEVELOPERS = Path(__file__).parent.parent / "DEVELOPERS.md"
_BETWEEN = re.compile(r"(<!-- kinds:begin -->\n).*?(<!-- kinds:end -->)", re.DOTALL)


def _words(words: Words | None) -> str:
    if words is None:
        return ""
    said = [*words.en[:3], *words.es[:3]]
    if words.also_of is not None:
        said = [f"{words.also_of} + {'/'.join(words.with_also[:3])}"]
    return ", ".join(said)


def _fields(kind: type[Kind]) -> str:
    private = kind.private_fields()
    found = []
    for name, info in kind.model_fields.items():
        if name in ("corrects", "told"):
            continue
        shown = info.alias or name
        found.append(f"`{shown}`" + ("" if info.is_required() else "?") + (" (private)" if name in private else ""))
    return ", ".join(found)


def table() -> str:
    """The table, made from the catalogue. A `?` marks a field that may be left out."""
    lines = ["| kind | log | meaning | data | words in a text | by |", "|---|---|---|---|---|---|"]
    for kind in sorted(catalogue, key=lambda each: (each.log != "machine", each.kind)):
        by = ", ".join(sorted(kind.by))
        lines.append(f"| `{kind.kind}` | {kind.log} | {kind.meaning} | {_fields(kind)} | {_words(kind.words)} | {by} |")
    return "\n".join(lines) + "\n"


def rewritten(text: str) -> str:
    """The page with the table as it ought to be."""
    return _BETWEEN.sub(lambda match: match[1] + table() + match[2], text)


if __name__ == "__main__":
    DEVELOPERS.write_text(rewritten(DEVELOPERS.read_text()))
