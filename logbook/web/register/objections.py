"""Why something is refused, said to whoever filled it in, in their language.

What the domain, the door and the readers of forms object is English and meant for every reader; here the common
ones are known by their shape and said in the page's words. Promises that what is not known is shown as it is, and is
then marked as English. Never decides what is refused.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import NamedTuple

from logbook.domain.wording.mark import mark
from logbook.web.pages import Words, words


class Objection(NamedTuple):
    """A reason. `language`: in which it is said, "" if in the page's own."""

    text: str
    language: str


# In the order in which they are looked for; what stands in a named group is filled into the sentence.
_SHAPES: tuple[tuple[str, str], ...] = (
    (r"a formula stands in this row", mark("a formula stands in this row; put its value there")),
    (r"this (site|machine|person) stands in a row above already", mark("the same stands in a row above already")),
    (r"there is no site '?(?P<it>[^']*)'? in the fleet or in a row above",
     mark("there is no site %(it)s in the fleet or in a row above")),
    (r"ends? in the wrong check character|wrong check character",
     mark("the code ends in the wrong check character; leave it empty to be given one")),
    (r"a new machine's battery", mark("a new machine's battery is flooded, sealed or lithium; say which")),
    (r"the column what says", mark("the column what says site, machine or person")),
    (r"somebody else has this phone number", mark("somebody else has this phone number")),
    (r"'(?P<it>[^']*)' is not a time zone",
     mark("%(it)s is no time zone of the IANA database; write one such as America/Halifax")),
    (r"'(?P<it>[^']*)' is not a phone number",
     mark("%(it)s is no phone number with its country in front, such as +1 902 555 0141")),
    (r"'(?P<it>[^']*)' is not a mail address", mark("%(it)s is no mail address")),
    (r"'(?P<it>[^']*)' is not an RFC 3339 time|(?P<other>\S+) names no instant",
     mark("%(it)s is no instant; write one with its offset, such as 2026-03-01T08:00:00-04:00")),
    (r"Invalid isoformat string: '(?P<it>[^']*)'|'(?P<other>[^']*)' is not a date",
     mark("%(it)s is no date; write it like 2026-12-25")),
    (r"'(?P<it>[^']*)' is not a time of the day", mark("%(it)s is no time of the day; write it like 06:30 or 22:00")),
    (r"nights\.\d+\.(from|to): ", mark("a night's beginning and end are written like 22:00 and 06:00")),
    (r"^key: ", mark("code is missing")),
    (r"^(?P<it>\w+): Field required", mark("%(it)s is missing")),
    (r"^(?P<it>\w+): Input should be (?P<choices>.+)", mark("%(it)s is one of: %(choices)s")),
    (r"^language: ", mark("language is one of: en, es")),
    (r"^(?P<it>[\w.]+): String should have at most", mark("%(it)s is too long")),
    (r"is not a duration|is longer than a hundred years",
     mark("That is no span of time that can be used here. Nothing was saved.")),
    (r"counts local days", mark("Whole days cannot be used here: hours and minutes are needed. Nothing was saved.")),
    (r"is not between (?P<it>.+?) and (?P<most>.+?)\.?( Nothing was saved\.)?$",
     mark("That must lie between %(it)s and %(most)s. Nothing was saved.")),
    (r"is not a whole number from (?P<it>\d+) to (?P<most>\d+)",
     mark("That must be a whole number from %(it)s to %(most)s. Nothing was saved.")),
    (r"is not a length", mark("That is no length; write it like 6.35 mm or 1/4 in. Nothing was saved.")),
    (r"is not a span of the day|is neither a span of the day|begins when it ends",
     mark("Quiet hours are written like 21:00-06:30. Nothing was saved.")),
    (r"is neither a time of the day", mark("That is no time of the day; write it like 12:00. Nothing was saved.")),
    (r"has not come yet", mark("That has not happened yet. Nothing was saved.")),
    (r"is another entry's already",
     mark("This form was sent before, with something else in it. Nothing was saved; open it anew.")),
)  # fmt: skip


def said(why: str, say: Words) -> Objection:
    """A reason in the page's language: one of its own sentences, a known shape, or else as it came."""
    own = say.plain(why)
    if own != why or say.language == "en":
        return Objection(own, "")
    for shape, sentence in _SHAPES:
        if (found := re.search(shape, why)) is not None:
            facts = {name: value for name, value in found.groupdict().items() if value is not None}
            facts.setdefault("it", facts.get("other", ""))
            return Objection(say.plain(sentence, **facts), "")
    return Objection(why, "en")


def reasons(lang: str) -> Callable[[str], Objection]:
    """What a template of the Register is given to say reasons with."""
    say = words(lang, "register")
    return lambda why: said(why, say)
