"""A piece of a page as a tree of lists: what a script may build without ever turning a string into markup.

`["p", {"class": "soft"}, ["words", …]]`: name, attributes, children. It is read from the very markup that the first
page was painted with, so that both are one. Promises to refuse what our templates must not hold: scripts, styles,
handlers.
"""

from __future__ import annotations

from html.parser import HTMLParser
from typing import Any

_EMPTY = frozenset({"input", "br", "hr", "img", "meta", "link", "wbr"})
_FORBIDDEN = frozenset({"script", "style", "iframe", "object", "embed", "base"})
_SPELT = {"viewbox": "viewBox"}
"""Attributes of SVG whose case counts, which HTML's reading lowers."""

Node = list[Any] | str


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root: list[Any] = ["", {}, []]
        self.open = [self.root]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._add(tag, attrs)
        if tag not in _EMPTY:
            self.open.append(self.open[-1][2][-1])

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._add(tag, attrs)

    def _add(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in _FORBIDDEN or any(name == "style" or name.startswith("on") for name, _value in attrs):
            raise ValueError(f"a page's part must not hold <{tag}> with {attrs}")
        named = {_SPELT.get(name, name): "" if value is None else value for name, value in attrs}
        self.open[-1][2].append([tag, named, []])

    def handle_endtag(self, tag: str) -> None:
        if self.open[-1][0] != tag:
            raise ValueError(f"</{tag}> closes <{self.open[-1][0]}>")
        self.open.pop()

    def handle_data(self, data: str) -> None:
        words = data if data.strip() else " "
        children = self.open[-1][2]
        if children and isinstance(children[-1], str):
            children[-1] += words
        else:
            children.append(words)


def tree(markup: str) -> list[Node]:
    """The nodes of a piece of markup, one behind the other. Raises ValueError if it is not well formed."""
    reader = _Reader()
    reader.feed(markup)
    reader.close()
    if len(reader.open) != 1:
        raise ValueError(f"<{reader.open[-1][0]}> is never closed")
    nodes: list[Node] = reader.root[2]
    return nodes
