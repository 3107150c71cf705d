"""Plates: what is stuck on a machine, on the page of the Register and on the sheet that `logbook plates` makes.

Promises one plate for both: the code with its check character, large; a square code that opens the machine's page;
the number to text, and what to write, in every language this program speaks. Pure, and needs no other room of the
pages. Never puts a number into the square code that would send a text by itself: it is an address, and no more.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from importlib import resources
from typing import NamedTuple

from logbook.domain.wording import LANGUAGES, speech
from logbook.domain.wording.mark import mark

QUIET = 4
"""Modules left light around a square code (ISO/IEC 18004: four for a QR code)."""

_TEXT = mark("Text: %(code)s emptied, rinsed, charged")
_NEW = mark("New here? Text: JOIN %(word)s and your name")
_NO_ADDRESS = mark(
    "There is no square code on these plates: the setting base_address is missing, which says where the pages are reached."
)
_PRINT = mark("Print on weatherproof stock, cut along the edges, and fix one to each machine.")


class Plate(NamedTuple):
    """One machine's plate. `line`: the number to text; `word`: the site's joining word; `opens`: the page's address."""

    code: str
    site: str
    line: str | None = None
    word: str | None = None
    opens: str | None = None


def opens(base_address: str, code: str) -> str | None:
    """The address in the square code; None where it is not known how the pages are reached."""
    return f"{base_address.rstrip('/')}/m/{code}" if base_address else None


def square(address: str, scale: int = 0) -> str:
    """The square code of an address, as SVG to stand within a page: error correction M or better, with its margin.

    Dark on light in either scheme, so that a camera reads it from a screen too. `scale`: units a module, for where no
    style gives it a size.

    Raises ModuleNotFoundError where segno, of the extra `web`, is not installed.
    """
    import segno

    made = segno.make_qr(address, error="m", boost_error=True)
    drawn: str = made.svg_inline(
        border=QUIET, dark="#000", light="#fff", scale=scale or 1, omitsize=not scale, svgclass="square", lineclass=None
    )
    return drawn.replace("<svg ", '<svg aria-hidden="true" shape-rendering="crispEdges" ', 1)


def article(plate: Plate) -> str:
    """One plate as markup; everything from outside is escaped."""
    code, site = escape(plate.code), escape(plate.site)
    lines = [f'<h2 class="code">{code}</h2>', f'<p class="site">{site}</p>', '<div class="body">']
    if plate.opens:
        lines.append(f'<div class="scan">{square(plate.opens)}</div>')
    lines.append('<div class="how">')
    if plate.line:
        lines.append(f'<p class="line">{escape(plate.line)}</p>')
    for language in LANGUAGES:
        said = speech(language, "pages_register")
        lines.append(f'<p lang="{language}">{escape(said(_TEXT) % {"code": plate.code})}</p>')
        if plate.word:
            lines.append(f'<p lang="{language}">{escape(said(_NEW) % {"word": plate.word})}</p>')
    return f'<article class="metal">{"".join(lines)}</div></div></article>'


def style() -> str:
    """How plates look, for the page and for the sheet."""
    return resources.files("logbook.web").joinpath("static", "plates.css").read_text(encoding="utf-8")


def sheet(fleet: str, plates: Iterable[Plate], language: str = "en") -> str:
    """A whole file to print, which needs nothing besides itself: no script, no picture, no address to fetch from."""
    some = list(plates)
    said = speech(language, "pages_register")
    name = escape(fleet)
    notes = [said(_PRINT)] + ([] if all(plate.opens for plate in some) else [said(_NO_ADDRESS)])
    body = "\n".join(article(plate) for plate in some)
    head = "".join(f"<p>{escape(note)}</p>" for note in notes)
    return (
        f'<!DOCTYPE html>\n<html lang="{language}">\n<head>\n<meta charset="utf-8">\n<title>{name}</title>\n'
        f"<style>\n{style()}\n</style>\n</head>\n<body>\n<header class=\"noprint\"><h1>{name}</h1>{head}</header>\n"
        f'<main class="plates">\n{body}\n</main>\n</body>\n</html>\n'
    )  # fmt: skip
