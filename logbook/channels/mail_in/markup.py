"""From HTML to its words. Nothing is run, fetched or looked up, but for the names of characters.

Promises that what HTML marks as quoted comes out behind `> `, so that it is treated like any other quote; that what
is not shown does not come out; and that the work grows with the length of the text and with nothing else. (The
standard library's parser takes quadratic time over some broken text in versions that people still run.)
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

_I = re.IGNORECASE
_NAME = re.compile(r"/?([A-Za-z][A-Za-z0-9:-]{0,40})")
_STOP = re.compile(r"[>\"']")
_HIDDEN_STYLE = re.compile(r"display\s*:\s*none|visibility\s*:\s*hidden|font-size\s*:\s*0(?![.\d]*[1-9])|mso-hide", _I)
_MARKED = re.compile(r"(?:class|id|type|name)\s*=\s*(?:\"([^\"]*)\"|'([^']*)'|([^\s>]*))", _I)
_QUOTE_WORD = re.compile(r"quot|cite|fwdmsg|forward|appendonsend|original|divrply", _I)
_SIGNATURE_WORD = re.compile(r"signature", _I)

_RAW = {"script", "style", "title", "textarea", "xmp", "noframes", "iframe", "noembed"}
_UNSHOWN = {"head", "template", "object", "select", "svg", "math", "noscript", "audio", "video", "canvas"}
_VOID = {"br", "hr", "img", "input", "meta", "link", "area", "base", "col", "embed", "source", "track", "wbr", "param"}
_BLOCK = {
    "p", "div", "li", "ul", "ol", "tr", "table", "blockquote", "h1", "h2", "h3", "h4", "h5", "h6", "pre", "section",
    "article", "header", "footer", "center", "dl", "dt", "dd", "body", "html", "tbody", "form", "fieldset", "address",
}  # fmt: skip
DEEP = 150
"""Elements inside one another; what is deeper still is taken as quoted, for no person wrote it."""


@dataclass
class _Page:
    open: list[tuple[str, int, int]] = field(default_factory=list)  # name, quoted depth, hidden depth around it
    quoted: int = 0
    hidden: int = 0
    lines: list[tuple[int, list[str]]] = field(default_factory=lambda: [(0, [])])

    def say(self, words: str) -> None:
        if self.hidden:
            return
        depth = self.quoted + (len(self.open) >= DEEP)
        if depth != self.lines[-1][0]:
            self.lines.append((depth, []))
        self.lines[-1][1].append(words)

    def turn(self) -> None:
        if self.lines[-1][1]:
            self.lines.append((self.quoted, []))

    def start(self, name: str, tag: str) -> None:
        if name in _BLOCK or name in {"br", "hr"}:
            self.turn()
        if name == "br" and not self.hidden:
            self.lines[-1][1].append("")
            self.turn()
        if name == "hr":
            self.say("_" * 20)
            self.turn()
        if name in _VOID or len(self.open) >= DEEP:
            return
        self.open.append((name, self.quoted, self.hidden))
        marks = " ".join("".join(groups) for groups in _MARKED.findall(tag[:2_000])) if len(tag) > len(name) else ""
        if name in _UNSHOWN or _HIDDEN_STYLE.search(tag, 0, 2_000):
            self.hidden += 1
        if name in {"blockquote", "q"} or _QUOTE_WORD.search(marks):
            self.quoted += 1
        elif _SIGNATURE_WORD.search(marks):
            self.hidden += 1

    def end(self, name: str) -> None:
        if name in _BLOCK:
            self.turn()
        for place in range(len(self.open) - 1, -1, -1):
            if self.open[place][0] == name:
                _, self.quoted, self.hidden = self.open[place]
                del self.open[place:]
                return


def to_text(source: str) -> str:
    """The words, a line where a reader would see one."""
    page = _Page()
    for kind, words in _pieces(source):
        if kind == "text":
            page.say(html.unescape(words))
            continue
        match = _NAME.match(words)
        if match is None:
            continue
        name = match[1].lower()
        if words.startswith("/"):
            page.end(name)
        else:
            page.start(name, words)
    return "\n".join(
        ("> " if depth else "") + " ".join("".join(words).split()) for depth, words in page.lines if words or not depth
    )


def _pieces(source: str) -> Iterator[tuple[str, str]]:
    """Text and tags in turn. `<` that begins no tag is text; a comment, a declaration and raw text are left out."""
    place, size = 0, len(source)
    ends: dict[str, bool] = {}

    def find(what: str, start: int) -> int:
        # What was once not found further on is not looked for again: that would make the time quadratic.
        if ends.get(what) is False:
            return -1
        at = source.find(what, start)
        ends[what] = at >= 0
        return at

    while place < size:
        begin = find("<", place)
        if begin < 0:
            yield "text", source[place:]
            return
        if begin > place:
            yield "text", source[place:begin]
        if source.startswith("<!--", begin):
            end = find("-->", begin + 4)
            place = size if end < 0 else end + 3
            continue
        following = source[begin + 1 : begin + 2]
        if not following or not ((following.isascii() and following.isalpha()) or following in "/!?"):
            yield "text", "<"
            place = begin + 1
            continue
        end = _tag_end(source, begin + 1, find)
        tag = source[begin + 1 : end]
        place = end + 1
        match = _NAME.match(tag)
        name = match[1].lower() if match is not None else ""
        if name in _RAW and not tag.startswith("/"):
            # Its end is looked for without regard to case, in one pass over what is left.
            closing = re.compile(rf"</{name}", _I).search(source, place)
            if closing is None:
                return
            place = _tag_end(source, closing.start() + 1, find) + 1
            continue
        yield "tag", tag


def _tag_end(source: str, place: int, find: object) -> int:
    """Where the tag that began is over: the next `>` outside quotation marks, or the end of all."""
    look = find if callable(find) else source.find
    while (stop := _STOP.search(source, place)) is not None:
        if stop[0] == ">":
            return stop.start()
        closing = look(stop[0], stop.end())
        place = stop.end() if closing < 0 else closing + 1
    return len(source)
