"""The sheet of plates: one HTML file to print, with a plate for every machine.

Promises a file that needs nothing besides itself: no script, no picture, no address to fetch from. What is written on
a plate is what a thumb must find at 3 am: the code, large; the number to text; what to write. Pure.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import NamedTuple


class Plate(NamedTuple):
    """One machine's plate. `line`: the number to text, if there is one; `word`: the site's joining word."""

    code: str
    site: str
    line: str | None = None
    word: str | None = None


# Ours: a dark plate with two screw dots, on ruled paper (the colours of the pages). Printers leave backgrounds out
# unless told; where one does so all the same, the border and the black code remain readable.
_STYLE = """
@page { size: auto; margin: 12mm }
* { box-sizing: border-box }
body { margin: 0; font: 14px/1.35 system-ui, sans-serif; color: #13211d; background: #eceee8 }
header { padding: 12px 16px; border-bottom: 1px solid #46544e }
header p { margin: 0; color: #46544e }
h1 { font-size: 21px; margin: 0 }
main { display: grid; grid-template-columns: repeat(auto-fill, minmax(86mm, 1fr)); gap: 8mm; padding: 8mm }
article { position: relative; break-inside: avoid; border: 2px solid #13211d; border-radius: 3mm;
  padding: 6mm 12mm; background: #13211d; color: #eef1ea; text-align: center;
  print-color-adjust: exact; -webkit-print-color-adjust: exact }
article::before, article::after { content: ""; position: absolute; top: calc(50% - 2mm); width: 4mm; height: 4mm;
  border-radius: 50%; background: #eceee8; border: 1px solid #46544e;
  print-color-adjust: exact; -webkit-print-color-adjust: exact }
article::before { left: 4mm }
article::after { right: 4mm }
h2 { font: 700 22mm/1 ui-monospace, monospace; letter-spacing: .08em; margin: 0; font-variant-numeric: tabular-nums }
article p { margin: 1.5mm 0 0 }
.site { font-size: 17px }
.line { font-size: 21px; font-weight: 700 }
.how { color: #b3bfb8 }
@media print { body { background: none } header { display: none } main { padding: 0 } }
""".strip()


def sheet(fleet: str, plates: Iterable[Plate]) -> str:
    """The whole file, ready to be written and printed."""
    body = "\n".join(_plate(plate) for plate in plates)
    name = escape(fleet)
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>Plates, {name}</title>\n'
        f"<style>\n{_STYLE}\n</style>\n</head>\n<body>\n<header><h1>Plates, {name}</h1>"
        "<p>Print on weatherproof stock, cut along the edges, and fix one to each machine.</p></header>\n"
        f"<main>\n{body}\n</main>\n</body>\n</html>\n"
    )


def _plate(plate: Plate) -> str:
    code, site = escape(plate.code), escape(plate.site)
    lines = [f"<h2>{code}</h2>", f'<p class="site">{site}</p>']
    if plate.line:
        lines.append(f'<p class="line">{escape(plate.line)}</p>')
    lines.append(f'<p class="how">Text: {code} emptied, rinsed, charged</p>')
    lines.append(f'<p class="how" lang="es">Escribe: {code} vaciada, enjuagada, cargada</p>')
    if plate.word:
        word = escape(plate.word)
        spanish = f'<span lang="es">ENTRAR {word} y tu nombre</span>'
        lines.append(f'<p class="how">New here? JOIN {word} and your name / {spanish}</p>')
    return f"<article>{''.join(lines)}</article>"
