"""The sender's own words in the text of a mail: what is left without quotes, signatures, footers and banners.

Promises that when in doubt a word counts as quoted, or the whole as unclear: a command that somebody else once wrote
must not run again because a reply carries it along. English and Spanish are known well, the opening words of a
quote in some other languages too, because a phone may speak one that its owner does not write in.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_I = re.IGNORECASE
_WROTE = r"(?:wrote|writes|said|escribi[óo]|escribe|escrib[íi]a|ha escrito|dijo|schrieb|a [ée]crit|escreveu|ha scritto)"
_STARTS = r"(?:On|El|Am|Le|Em|Il|En|Den|Op)"
_MARK = re.compile(r"\s*(?:[>＞»›|]|[A-Z]{2,3}>)")
_ENDS_WROTE = re.compile(rf"\b{_WROTE}\b[^\n]{{0,80}}:\s*$", _I)
_BEGINS = re.compile(rf"\W*{_STARTS}\b", _I)
_DATED = re.compile(r"@|\d{1,4}[-/.]\d{1,2}[-/.]\d{2,4}")
_YEAR = re.compile(r"\b\d{1,2}\b[^\n]*\b20\d\d\b")
_TELLING = re.compile(r"@|\d{4}|\d{1,2}[:.h]\d{2}|\d{1,2}[/.-]\d{1,2}")
# The whole of an opening and the quote behind it on one line, where a program lost the line breaks.
_RUN_ON = re.compile(rf"(?:^|(?<=\s)){_STARTS}\s(?:(?!\s{_STARTS}\s)[^\n]){{4,250}}?\b{_WROTE}\s*:")
_RUN_ON_BLOCK = re.compile(
    r"\*?\b(?:From|De)\s?:\*?\s[^\n]{1,250}?\b(?:Sent|Date|Enviado(?: el)?|Fecha|To|Para|Subject|Asunto)\s?:"
)
_FIELD = re.compile(
    r"\s*\*{0,2}(From|De|Sent|Enviado(?: el| a)?|Date|Fecha|To|Para|A|Cc|Bcc|CCO|Subject|Asunto|Reply-To|Responder a|"
    r"Von|Gesendet|An|Betreff|Envoy[ée]|À|Objet|Da|Inviato|Oggetto|Enviada|Assunto|Data)\s?:",
    _I,
)
_FIRST_FIELDS = re.compile(r"\s*\*{0,2}(From|De|Von|Da|Date|Fecha|Sent|Enviado(?: el)?|Subject|Asunto|To|Para)\s?:", _I)
_CUT = re.compile(
    r"[\W_]*(?:original message|original appointment|mensaje original|forwarded message|forwarded by\b.*|"
    r"mensaje reenviado|reply message|mensaje de respuesta|ursprüngliche nachricht|message d'origine|"
    r"mensagem original|messaggio originale|original e-?mail|correo original|reply above this line.*|"
    r"(?:please )?(?:type|write) your reply above.*|responda por encima de esta l[íi]nea.*)[\W_]*$|"
    rf"\W*-{{2,}}\s*{_STARTS}\b[^\n]{{4,250}}\b{_WROTE}\s*-{{2,}}\s*$|"
    r"\W*begin forwarded message\s*:|\W*inicio del mensaje reenviado\s*:|"
    r"\W*(?:quoting|citando(?: a)?|en respuesta a|in reply to|replying to)\s[^\n]{0,120}(?:@[^\n]{0,120}|):\s*$|"
    r"\s*\[(?:quoted text hidden|texto citado oculto|se ha (?:ocultado|acortado) el texto citado)\]",
    _I,
)
_DIVIDER = re.compile(r"\s*(?:-{2,}|_{2,}|[—–]{1,}|={3,}|\*{3,}|~{3,}|(?:[-_*]\s){3,}[-_*]?)\s*$")
_FOOTER = re.compile(
    r"\W*(?:sent|enviado|envoyé|gesendet|inviato|enviada) "
    r"(?:from|via|by|using|with|desde|de|con|por|mediante|mit|von|depuis|da|do)\b[^\n]{0,100}$|"
    r"\W*(?:get|download|descarga|descargar|obtener|obt[ée]n|consigue)\s[^\n]{1,60}[<(\[]?https?://\S+\s*$|"
    r"\W*(?:please )?excuse (?:any |my )?(?:brevity|typos)[^\n]*$|\W*(?:disculpe|perdone)[^\n]{0,40}brevedad[^\n]*$",
    _I,
)
_BANNER = re.compile(
    r"\W*(?:caution|warning|external|notice|precauci[óo]n|atenci[óo]n|aviso|advertencia|externo)\b"
    r"[^\n]{0,80}\b(?:outside|external|externo|externa|fuera)\b[^\n]*$|\W*\[?(?:external|externo)(?: e?-?mail)?\]?\W*$",
    _I,
)
_NOTICE = re.compile(
    r"\W*(?:confidentiality notice|confidentiality|disclaimer|legal notice|aviso de confidencialidad|aviso legal|"
    r"this (?:e-?mail|message|communication)\b[^\n]{0,60}\b(?:confidential|intended|attachments)|"
    r"este (?:correo|mensaje|e-?mail)\b[^\n]{0,60}\b(?:confidencial|dirigido|contiene|adjuntos)|"
    r"please consider the environment|antes de imprimir)\b",
    _I,
)
_LONG = 58
"""A quoted line as long as this may have been broken in two by a program that marked only its first half."""
_MOST_LINES = 4
"""Over so many lines an opening (`On … wrote:`) may be spread."""


@dataclass(frozen=True, slots=True)
class Own:
    """`text`: the sender's own words. `quoted`: something was taken away as a quote. `unclear`: some of the text may
    be a quote all the same."""

    text: str
    quoted: bool
    unclear: bool


def own_words(text: str) -> Own:
    """Take away what is not the sender's. `text` has `\\n` for its line breaks."""
    lines = [line.rstrip() if line != "-- " else line for line in text.split("\n")]
    kept: list[str] = []
    quoted = unclear = False
    before = ""  # the line just before, if it was quoted
    place = 0
    while place < len(lines):
        line = lines[place]
        if _MARK.match(line):
            quoted, before = True, line
            place += 1
            continue
        opening = _opening(lines, place)
        if opening:
            quoted = True
            place += opening
            if not _goes_on_marked(lines, place):
                break
            before = ""
            continue
        if _CUT.match(line):
            quoted = True
            if not _goes_on_marked(lines, place + 1):
                break
        elif _is_block(lines, place):
            quoted = True
            break
        elif _DIVIDER.match(line) or _NOTICE.match(line):
            quoted = quoted or _quotes(lines, place + 1)
            break
        elif not (_FOOTER.match(line) or _BANNER.match(line)):
            cut = _run_on(line)
            if cut is not None:
                kept.append(line[:cut])
                quoted = True
                break
            if line and len(before) >= _LONG:
                unclear = True
            kept.append(line)
        before = ""
        place += 1
    said = "\n".join(" ".join(line.split()) for line in kept if line.strip())
    return Own(said, quoted, unclear and bool(said))


def _opening(lines: list[str], place: int) -> int:
    """How many lines an opening such as `On Tuesday Jo wrote:` takes from here; 0 if none begins here."""
    if not lines[place]:
        return 0
    for size in range(1, _MOST_LINES + 1):
        some = lines[place : place + size]
        if len(some) < size or not some[-1] or _MARK.match(some[-1]):
            return 0
        # The nearest beginning counts: words before it that happen to begin alike are the sender's own.
        if size > 1 and _BEGINS.match(some[-1]):
            return 0
        if some[-1].endswith(":") or _ENDS_WROTE.search(some[-1]):
            joined = " ".join(some)
            if _ENDS_WROTE.search(joined) and (size == 1 or _spread(some)):
                if size == 1 and _run_on(joined) not in (None, 0):
                    return 0  # own words on the same line, before it
                return size
            if size == 1 and _TELLING.search(joined) and _goes_on_marked(lines, place + 1):
                return 1  # in whatever language
            return 0
    return 0


def _spread(lines: list[str]) -> bool:
    """Whether an opening that ends on the last of these lines begins on the first, which may be own words."""
    above = " ".join(lines[:-1])
    if not _BEGINS.match(above):
        return _DATED.search(lines[0]) is not None
    return _DATED.search(above) is not None or _YEAR.search(above) is not None or lines[-1].lstrip()[:1] in "<(["


def _quotes(lines: list[str], place: int) -> bool:
    """Whether anything from here on is somebody else's."""
    return any(
        _MARK.match(lines[n]) or _CUT.match(lines[n]) or _is_block(lines, n) or _opening(lines, n) > 0
        for n in range(place, len(lines))
    )


def _goes_on_marked(lines: list[str], place: int) -> bool:
    """Whether the next line that holds anything is marked as quoted, so that what is not marked is the sender's."""
    following = next((line for line in lines[place : place + 6] if line), "")
    return bool(_MARK.match(following))


def _is_block(lines: list[str], place: int) -> bool:
    """Whether the head of another mail begins here, as office programs copy it: two of its fields close together."""
    if not _FIRST_FIELDS.match(lines[place]):
        return False
    following = [line for line in lines[place + 1 : place + 9] if line][:3]
    return any(_FIELD.match(line) for line in following)


def _run_on(line: str) -> int | None:
    """Where on this line somebody else's mail begins, if one does."""
    places = [match.start() for match in (_RUN_ON.search(line), _RUN_ON_BLOCK.search(line)) if match is not None]
    return min(places, default=None)
