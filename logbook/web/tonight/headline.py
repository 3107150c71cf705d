"""The sentence above everything: how many are late, how many fall due, and until when."""

from __future__ import annotations

from logbook.domain.wording import capital
from logbook.domain.wording.mark import mark
from logbook.web.pages import Words

_COUNTS = (
    "", mark("one"), mark("two"), mark("three"), mark("four"), mark("five"), mark("six"), mark("seven"), mark("eight"),
    mark("nine"), mark("ten"), mark("eleven"), mark("twelve"),
)  # fmt: skip


def count_words(number: int, say: Words) -> str:
    """A number of machines as people say it: in words up to twelve."""
    return say.plain(_COUNTS[number]) if 0 < number < len(_COUNTS) else str(number)


def headline(late: int, hands: int, due: int, before: str, say: Words) -> str:
    """From counts of machines: those of the page's own lists, so that the sentence and the links below it agree.

    A machine that is late may fall due with something else as well. `before`: until when that is counted, as a clock
    shows it.
    """
    if late:
        count = count_words(late, say)
        first = say.plural("%(number)s machine is late", "%(number)s machines are late", late, number=count).unescape()
    elif hands:
        first = say.plain("All that is late is in somebody's hands")
    else:
        first = say.plain("Nothing is late")
    facts = {"first": first, "number": count_words(due, say), "time": before}
    if due and late:
        whole = say.plural(
            "%(first)s, and %(number)s falls due before %(time)s.", "%(first)s, and %(number)s fall due before %(time)s.",
            due, **facts,
        ).unescape()  # fmt: skip
    elif due:
        whole = say.plural(
            "%(first)s; %(number)s machine falls due before %(time)s.",
            "%(first)s; %(number)s machines fall due before %(time)s.", due, **facts,
        ).unescape()  # fmt: skip
    elif late:
        whole = f"{first}."
    else:
        whole = say.plain("%(first)s, and nothing falls due before %(time)s.", **facts)
    return capital(whole)


def window_title(late: int, say: Words) -> str:
    """What the window is called, where it is one of many."""
    if not late:
        return say.plain("Tonight: nothing late")
    return say.plain("Tonight: %(n)s late", n=late)
