"""The morning's letter: exceptions only, worst first, and on Mondays the week against the one before.

Promises one sentence where there is nothing to tell, last night's count in one sentence, quiet sites in one line, and
machines and sites only, never a person. What a duty is about stands once, with the first machine that owes it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from babel.numbers import format_decimal

from logbook.domain.instants import Instant
from logbook.domain.telling.items import Item, Letter, Week
from logbook.domain.wording import capital, speech, times
from logbook.domain.wording.cautions import BATTERY, care
from logbook.domain.wording.duties import WORDS, duty_label
from logbook.domain.wording.messages import fit, foot
from logbook.domain.wording.sentences import (
    Text,
    happened,
    note_line,
    over,
    place,
    place_of,
    plates,
    title,
    when,
    worst_first,
)
from logbook.domain.wording.unquotable import plain, wrap

_EMPTY = Week(0, 0, 0, 0)


def letter_message(letter: Letter, language: str, now: Instant, *, seal: str | None = None) -> Text:
    """One person's letter, as plain text; `short` is its heading for a text message."""
    say = speech(language, "alerts")
    open_ones = worst_first(item for item in letter.items if item.outcome is None)
    done = worst_first(item for item in letter.items if item.outcome is not None)
    week = letter.week if letter.week != _EMPTY else None
    subject = _subject(letter, open_ones, len(done), language)
    count = _count(letter, language)
    strangers = ""
    if letter.strangers:
        strangers = say.plural(
            "%(n)s text of the last day came from nobody who is known here. It was kept as it came, and waits until "
            "somebody says whose it is.",
            "%(n)s texts of the last day came from nobody who is known here. They were kept as they came, and wait until "
            "somebody says whose they are.",
            letter.strangers,
        ) % {"n": letter.strangers}
    if not letter.items and week is None and not strangers and letter.nights_told >= letter.nights_expected:
        nothing = say("Nothing to tell this morning: %(count)s") % {"count": count}
        return _text(subject, [wrap(nothing)], language, seal, nothing)
    blocks = [wrap(capital(count))]
    seen: set[str] = set()
    for number, item in enumerate(open_ones, 1):
        blocks.append(list(_open(item, number, language, now, told=item.duty in seen)))
        seen.add(item.duty)
    if any(item.serial is not None for item in open_ones):
        serial = next(item.serial for item in open_ones if item.serial is not None)
        hint = say("To take one in hand, answer with SEEN and the number of the alert, such as SEEN %(serial)s, alone.")
        blocks.append(wrap(hint % {"serial": serial}))
    if done:
        lines = [line for item in done for line in wrap(over(item, language, now), "  ", "- ")]
        blocks.append([say("Over already:"), *lines])
    if strangers:
        blocks.append(wrap(strangers))
    if letter.quiet_sites:
        sites = ", ".join(plain(site) for site in letter.quiet_sites)
        blocks.append(wrap(say("Nothing to tell from: %(sites)s.") % {"sites": sites}))
    if week is not None:
        blocks.extend(_week(week, language))
    cautions = [caution for item in open_ones for caution in WORDS[item.duty].cautions]
    if week is not None and week.thirsty:
        cautions.append(BATTERY)
    closing = care(cautions, language)
    if closing:
        blocks.append(wrap(closing))
    worst = f" {place_of(open_ones[0], language)}: {title(open_ones[0], language)}." if open_ones else ""
    return _text(subject, blocks, language, seal, f"{subject}.{worst}", f"{subject}.")


def _text(subject: str, blocks: list[list[str]], language: str, seal: str | None, *short: str) -> Text:
    bodies = [block for block in (*blocks, foot(language, seal)) if block]
    return Text(subject, "\n\n".join("\n".join(block) for block in bodies) + "\n", fit([*short, subject]))


def _subject(letter: Letter, open_ones: Sequence[Item], done: int, language: str) -> str:
    say, day = speech(language, "alerts"), times.day(letter.date, language)
    if not letter.items:
        untold = letter.nights_expected - letter.nights_told
        if untold > 0:
            told = say.plural("%(day)s: %(n)s night untold", "%(day)s: %(n)s nights untold", untold)
            return told % {"day": day, "n": untold}
        return say("%(day)s: nothing open") % {"day": day}
    if not open_ones:
        return say.plural("%(day)s: %(n)s is over already", "%(day)s: %(n)s are over already", done) % {
            "day": day, "n": done
        }  # fmt: skip
    count = say.plural("%(day)s: %(n)s open: %(codes)s", "%(day)s: %(n)s open, worst first: %(codes)s", len(open_ones))
    line = count % {"day": day, "n": len(open_ones), "codes": plates(open_ones, language)}
    if open_ones[0].tell == "urgent":
        return say("URGENT: %(what)s") % {"what": line}
    return line


def _count(letter: Letter, language: str) -> str:
    """Last night's count, in one sentence that starts in lower case."""
    say, expected = speech(language, "alerts"), letter.nights_expected
    if expected == 0:
        return say("no machine was expected out last night.")
    if letter.nights_told >= expected:
        told = say.plural("the one machine expected out last night was accounted for.",
                          "all %(n)s machines expected out last night were accounted for.", expected)  # fmt: skip
        return told % {"n": expected}
    some = say.plural("%(told)s of %(n)s machine expected out last night was accounted for.",
                      "%(told)s of %(n)s machines expected out last night were accounted for.", expected)  # fmt: skip
    return some % {"told": letter.nights_told, "n": expected}


def _open(item: Item, number: int, language: str, now: Instant, *, told: bool) -> Iterator[str]:
    say, words = speech(language, "alerts"), WORDS[item.duty]
    opening = f"{place_of(item, language)}: {happened(item, language, now)}"
    if item.serial is not None:
        opening += " " + say("(Alert %(serial)s.)") % {"serial": item.serial}
    if item.tell == "urgent":
        opening = say("URGENT: %(what)s") % {"what": opening}
    yield from wrap(opening, "   ", f"{number}. ".ljust(3))
    if item.note:
        yield "   " + note_line(item.note, language)
    yield from wrap(when(item, language, now), "   ")
    if not told:
        yield from wrap(say("Do next: %(do)s") % {"do": say(words.do)}, "   ")
        yield from wrap(say("At stake: %(cost)s") % {"cost": say(words.cost)}, "   ")


def _week(week: Week, language: str) -> Iterator[list[str]]:
    """Monday's part, a block a matter; what has nothing to tell is left out, but for the two counts."""
    say = speech(language, "alerts")
    counts = say("The week against the one before: nights untold %(untold)s (before: %(untold_before)s), "
                 "duties late or missed %(late)s (before: %(late_before)s).")  # fmt: skip
    yield wrap(counts % {
        "untold": week.nights_untold, "untold_before": week.nights_untold_before,
        "late": week.late, "late_before": week.late_before,
    })  # fmt: skip
    if week.repeats:
        repeats = (_repeat(*repeat, language) for repeat in week.repeats)
        yield _listed(say("Again and again, on one machine:"), repeats)
    if week.thirsty:
        lines = (_thirsty(*thirsty, language) for thirsty in week.thirsty)
        means = say("A thirst like that can mean overcharging or an old set; have charger and battery looked at by "
                    "qualified people.")  # fmt: skip
        yield _listed(say("Batteries that drank clearly more:"), lines) + wrap(means)
    if week.low:
        orders = (_order(*low, language) for low in week.low)
        yield _listed(say("Segments to order; each line can be sent as it stands:"), orders)
    if week.faults:
        yield [say("Something is wrong and not yet mended, oldest first:"), *_faults(week, language)]
    if week.visits:
        yield _listed(say("Visits worth making:"), (_visit(*visit, language) for visit in week.visits))


def _listed(heading: str, lines: Iterator[str]) -> list[str]:
    return [*wrap(heading), *(piece for line in lines for piece in wrap(line, "  ", "- "))]


def _repeat(code: str, duty: str, count: int, language: str) -> str:
    say = speech(language, "alerts")
    line = say.plural("%(code)s: %(duty)s late %(n)s time", "%(code)s: %(duty)s late %(n)s times", count)
    return line % {"code": plain(code), "duty": duty_label(duty, language), "n": count}


def _thirsty(code: str, ml: int, before: int, language: str) -> str:
    say = speech(language, "alerts")
    line = say("%(code)s drank %(litres)s l, against %(before)s l the week before")
    return line % {"code": plain(code), "litres": _litres(ml, language), "before": _litres(before, language)}


def _litres(ml: int, language: str) -> str:
    return format_decimal(Decimal(ml) / 1000, "0.0#", locale=times.locale(language))


def _order(
    code: str,
    site: str,
    part: str | None,
    count: int | None,
    account: str | None,
    contact: str | None,
    language: str,
) -> str:
    """One line that a supplier understands: how many of what, for which machine, on whose account, sent to whom."""
    say = speech(language, "alerts")
    what = plain(part) if part else say("segments")
    quantity = say("%(n)s × %(part)s") if count else say("one set of %(part)s")
    order = say("Please send %(what)s for machine %(code)s, %(site)s") % {
        "what": quantity % {"n": count, "part": what}, "code": plain(code), "site": plain(site),
    }  # fmt: skip
    if account:
        order += say(", on account %(account)s") % {"account": plain(account)}
    if contact:
        order += say("; to: %(contact)s") % {"contact": plain(contact)}
    return order


def _faults(week: Week, language: str) -> Iterator[str]:
    say = speech(language, "alerts")
    for code, days, note in sorted(week.faults, key=lambda fault: -fault[1]):
        age = say("%(code)s has waited %(days)s.") % {
            "code": plain(code),
            "days": times.days_of(days, language),
        }
        if days < 1:
            age = say("%(code)s has waited since today.") % {"code": plain(code)}
        # One line on purpose: see `note_line`.
        yield f"- {age} {note_line(note, language)}" if note else f"- {age}"


def _visit(site: str, duties: list[str], count: int, language: str) -> str:
    say = speech(language, "alerts")
    line = say.plural("%(site)s: %(n)s time late there, in %(duties)s",
                      "%(site)s: %(n)s times late there, in %(duties)s", count)  # fmt: skip
    named = ", ".join(duty_label(duty, language) for duty in duties)
    return line % {"site": place("", site, language), "n": count, "duties": named}
