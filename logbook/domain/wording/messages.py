"""The messages that go out at once: an alert, a cleaner's reminder, a trial.

Promises that a tired person finds what, where, since when, what to do and what is at stake in the first lines, in
this order; that nobody is named; that no line does anything when it is quoted back; and that `short` is one text
message, its answer word always in it. Pure words: whom they reach and when is decided elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from logbook.domain.instants import Instant
from logbook.domain.telling.items import Item, Reminder
from logbook.domain.wording import speech, times
from logbook.domain.wording.cautions import care
from logbook.domain.wording.duties import WORDS, duty_label
from logbook.domain.wording.gsm7 import SEGMENT, cut, fold, septets
from logbook.domain.wording.labels import entry_label, role_label
from logbook.domain.wording.mark import mark
from logbook.domain.wording.sentences import (
    Text,
    happened,
    note_line,
    over,
    place,
    place_of,
    plates,
    short_when,
    title,
    when,
    worst_first,
)
from logbook.domain.wording.unquotable import harmless, plain, wrap

__all__ = [
    "Text", "alert_message", "duty_label", "entry_label", "fit", "foot", "reminder_message", "role_label",
    "trial_message",
]  # fmt: skip

# What a cleaner may type for each; the tests hold these against the words that texts are read by.
TYPED: dict[str, str] = {
    "rinse": mark("RINSED"), "charge": mark("CHARGED"), "squeegee": mark("SQUEEGEE"),
}  # fmt: skip


def alert_message(
    items: Sequence[Item], language: str, now: Instant, *, seal: str | None = None, url: str | None = None
) -> Text:
    """One alert, or several gathered, worst first. `seal`: number and first hex digits of the daily seal.

    Raises ValueError if there is no item.
    """
    if not items:
        raise ValueError("an alert's message needs at least one item")
    say, ranked = speech(language, "alerts"), worst_first(items)
    blocks = [list(_block(item, language, now, n if len(ranked) > 1 else 0)) for n, item in enumerate(ranked, 1)]
    open_ones = [item for item in ranked if item.outcome is None]
    cautions = care((c for item in open_ones for c in WORDS[item.duty].cautions), language)
    if cautions:
        blocks.append(wrap(cautions))
    if open_ones:
        blocks.append(wrap(say("An alert is over only when the log hears that it was done.")))
    blocks.append(foot(language, seal, url))
    body = "\n\n".join("\n".join(block) for block in blocks if block) + "\n"
    return Text(_subject(ranked, language), body, _short(ranked, language, now))


def _block(item: Item, language: str, now: Instant, number: int) -> Iterator[str]:
    """The lines of one item; `number` 0 where it is the only one."""
    say, words = speech(language, "alerts"), WORDS[item.duty]
    indent = "   " if number else ""
    first = f"{number}. ".ljust(3) if number else ""
    if item.outcome is not None:
        yield from wrap(over(item, language, now), indent, first)
        return
    opening = f"{place_of(item, language)}: {happened(item, language, now)}"
    if item.tell == "urgent":
        opening = say("URGENT: %(what)s") % {"what": opening}
    yield from wrap(opening, indent, first)
    if item.note:
        yield indent + note_line(item.note, language)
    yield from wrap(when(item, language, now), indent)
    yield from wrap(say("Do next: %(do)s") % {"do": say(words.do)}, indent)
    yield from wrap(say("At stake: %(cost)s") % {"cost": say(words.cost)}, indent)
    if item.serial is not None:
        # Inside a sentence: alone on its line it would be obeyed when the mail is quoted back.
        yield from wrap(
            say("Have you got it in hand? Then answer SEEN %(serial)s, those two words alone.")
            % {"serial": item.serial},
            indent,
        )


def foot(language: str, seal: str | None, url: str | None = None) -> list[str]:
    """The last lines: where to see more, and the daily seal, by which this mail is evidence."""
    say, lines = speech(language, "alerts"), []
    if url:
        lines.append(say("The machine's page: %(url)s") % {"url": plain(url)})
    if seal:
        lines.append(say("Daily seal: %(seal)s") % {"seal": plain(seal)})
    return lines


def _subject(ranked: Sequence[Item], language: str) -> str:
    say, worst = speech(language, "alerts"), ranked[0]
    if len(ranked) == 1:
        line = f"{place_of(worst, language)}: {title(worst, language)}"
    else:
        count = say.plural("%(n)s alert: %(codes)s", "%(n)s alerts: %(codes)s", len(ranked))
        line = count % {"n": len(ranked), "codes": plates(ranked, language)}
    return _marked(ranked, line, language)


def _marked(ranked: Sequence[Item], line: str, language: str) -> str:
    """URGENT and passed on stand in front, where a phone's list still shows them."""
    say = speech(language, "alerts")
    if all(item.asked_by is not None for item in ranked):
        line = say("Asked of you: %(what)s") % {"what": line}
    elif all(item.step > 1 for item in ranked):
        line = say("Passed on: %(what)s") % {"what": line}
    if any(item.tell == "urgent" for item in ranked):
        line = say("URGENT: %(what)s") % {"what": line}
    return line


def _short(ranked: Sequence[Item], language: str, now: Instant) -> str:
    say, worst = speech(language, "alerts"), ranked[0]
    what, due = title(worst, language), short_when(worst, language, now)
    others = [item for item in ranked[1:] if item.code != worst.code]
    brief = say(WORDS[worst.duty].brief)
    if len(ranked) > 1:
        brief = say("Alerts in all: %(n)s.") % {"n": len(ranked)}
        if others:
            codes = plates(others, language, most=4)
            brief = say("Alerts in all: %(n)s, also %(codes)s.") % {"n": len(ranked), "codes": codes}
    code, site = plain(worst.code), plain(worst.site_name)
    tail = "" if worst.serial is None else " " + say("Answer SEEN %(serial)s") % {"serial": worst.serial}
    near, far = cut(fold(site), 16), f"{code} {site}"
    # What is dropped first when room is short: the advice, then the site, then since when.
    places, since = (far, f"{code} {near}", code), f"{what}, {due}."
    choices = [f"{where}: {since} {brief}" for where in places[:2]] + [f"{where}: {since}" for where in places]
    choices.append(f"{code}: {what}.")
    return fit([_marked(ranked, choice, language) for choice in choices], tail)


def fit(choices: Sequence[str], tail: str = "") -> str:
    """The first choice that is one text message together with `tail`, and does nothing when it is sent back; the last
    is cut if it must be."""
    end = fold(tail)
    room = SEGMENT - septets(end)
    for choice in choices:
        folded = fold(choice)
        if septets(folded) <= room and harmless(folded + end):
            return folded + end
    return cut(fold(choices[-1]), room) + end


def reminder_message(reminder: Reminder, language: str, now: Instant) -> Text:
    """To the cleaner, still there: what is owed on one machine, by when, and what to type."""
    say = speech(language, "alerts")
    code, site = plain(reminder.code), plain(reminder.site_name)
    due = times.moment(reminder.due_at, reminder.zone, language, now)
    where = place(code, site, language)
    if reminder.night_date is not None:
        said = say("nothing has been heard of tonight yet. Please tell by %(time)s.") % {"time": due}
        typed = say("Used? Text %(code)s with what you did. Left standing? Text %(code)s NOT USED, please.")
        subject = say("%(place)s: nothing heard of tonight yet") % {"place": where}
    else:
        owed = ", ".join(duty_label(duty, language) for duty in reminder.duties)
        said = say("still owed by %(time)s: %(duties)s.") % {"time": due, "duties": owed}
        typed = say("When it is done, text for example %(code)s %(words)s, please.")
        subject = say("%(place)s: still owed by %(time)s") % {"place": where, "time": due}
    words = " ".join(say(TYPED[duty]) for duty in reminder.duties if duty in TYPED)
    typed = typed % {"code": code, "words": words} if words or reminder.night_date is not None else ""
    paragraphs = [wrap(f"{where}: {said}"), *([wrap(typed)] if typed else [])]
    cautions = care((c for duty in reminder.duties for c in WORDS[duty].cautions), language)
    if cautions:
        paragraphs.append(wrap(cautions))
    near = cut(fold(site), 16)
    sites = (where, f"{code}, {near}", code)
    short = fit([*(f"{each}: {said} {typed}".rstrip() for each in sites), *(f"{each}: {said}" for each in sites)])
    return Text(subject, "\n\n".join("\n".join(lines) for lines in paragraphs) + "\n", short)


def trial_message(language: str, now: Instant) -> Text:
    """Says only that messages arrive. It belongs to no site, so its time is UTC and says so."""
    say = speech(language, "alerts")
    subject = say("Trial message from the machine logbook")
    sent = say("This is a trial, sent %(time)s. It reached you, so alerts will reach you in the same way.")
    sentence = sent % {"time": times.utc(now)}
    nothing = say("There is nothing to do, and no answer is needed.")
    body = "\n".join(wrap(f"{sentence} {nothing}")) + "\n"
    return Text(subject, body, fit([f"{subject}. {sentence}", f"{subject}."]))
