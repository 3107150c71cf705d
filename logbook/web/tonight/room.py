"""What the pages of Tonight of one app share: its boards, its newsroom, and what was painted for each reader."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from fastapi import Request
from markupsafe import Markup, escape

from logbook.domain.wording import speech
from logbook.web.house import House, house_of
from logbook.web.pages import render
from logbook.web.tonight.live import Newsroom
from logbook.web.tonight.model import Board
from logbook.web.tonight.reading import Boards, version
from logbook.web.tonight.tree import tree
from logbook.web.who.visitor import Visitor

_PAINTED_MOST = 64


@dataclass(frozen=True, slots=True)
class Spans:
    """The patterns by which a script says how long something has been: those of `wording.times.span`."""

    minutes: str
    hours: str
    day: str
    days: str


def spans(language: str) -> Spans:
    """The patterns in a language."""
    say = speech(language, "alerts")
    one, many = (say.plural("%(n)s day", "%(n)s days", count) for count in (1, 2))
    return Spans(say("%(minutes)s min"), say("%(hours)s h"), one, many)


@dataclass(slots=True)
class _Painted:
    """A board as markup for one reader, with marks for what their forms carry; as a tree only once it was asked for."""

    board: Board
    markup: str
    parts: str | None = None


class Room:
    """One app's. A board is painted once for each reader and kept until there is another."""

    def __init__(self, house: House) -> None:
        self.house = house
        self.boards = Boards(house)
        self.news = Newsroom(house.store.bell)
        # Nobody's words can be taken for these marks: they are drawn anew by each process.
        self._drawn = house.token(12)
        self._painted: dict[tuple[str, str], _Painted] = {}
        self._versions: dict[int, tuple[Board, str]] = {}

    def board(self, visitor: Visitor, language: str) -> Board:
        """The board of a visitor."""
        sites = None if visitor.role == "owner" else frozenset(visitor.person.sites)
        return self.boards.look(sites, language)

    def version(self, board: Board) -> str:
        """A board's version, worked out once."""
        kept = self._versions.get(id(board))
        if kept is None or kept[0] is not board:
            if len(self._versions) > _PAINTED_MOST:
                self._versions.clear()
            kept = self._versions[id(board)] = (board, version(board))
        return kept[1]

    def fragment(self, request: Request, board: Board, visitor: Visitor, language: str) -> Markup:
        """The board as this visitor's markup; each of its forms with an id of its own."""
        painted = self._paint(request, board, visitor, language)
        return Markup(self._given(painted.markup, str(escape(visitor.csrf))))  # noqa: S704 - our template's

    def parts(self, request: Request, board: Board, visitor: Visitor, language: str) -> str:
        """The same as a tree, in JSON (see `tree`)."""
        painted = self._paint(request, board, visitor, language)
        if painted.parts is None:
            painted.parts = json.dumps(tree(painted.markup), ensure_ascii=False, separators=(",", ":"))
        return self._given(painted.parts, visitor.csrf)  # it is base64, and needs no escape

    def _paint(self, request: Request, board: Board, visitor: Visitor, language: str) -> _Painted:
        key = (visitor.person.uuid, language)
        kept = self._painted.get(key)
        if kept is None or kept.board is not board:
            made = render(
                request, "tonight_board.html", language, "tonight", board=board, me=visitor.person.uuid,
                token=self._mark("csrf"), form_id=self._mark("id"),
            )  # fmt: skip
            if len(self._painted) > _PAINTED_MOST:
                self._painted.clear()
            kept = self._painted[key] = _Painted(board, bytes(made.body).decode())
        return kept

    def _given(self, painted: str, csrf: str) -> str:
        """What was painted, with what this reader's forms carry."""
        first, *rest = painted.replace(self._mark("csrf"), csrf).split(self._mark("id"))
        return first + "".join(self.house.intake.new_id() + each for each in rest)

    def _mark(self, what: str) -> str:
        """What stands in a painted board for what each reader, or each form, is given."""
        return f"{what}.{self._drawn}"


def room_of(request: Request) -> Room:
    """The room of the app that was asked; made when it is first asked for."""
    state: Any = request.app.state
    if not hasattr(state, "tonight"):
        state.tonight = Room(house_of(request))
        if not hasattr(state, "farewells"):
            state.farewells = []
        state.farewells.append(state.tonight.news.close)
    found: Room = state.tonight
    return found
