"""What a supervisor reads when somebody joined by the word on the plate, and waits for a yes or a no."""

from __future__ import annotations

from logbook.domain.wording import speech
from logbook.domain.wording.gsm7 import SEGMENT, cut, fold
from logbook.domain.wording.sentences import Text
from logbook.domain.wording.unquotable import wrap


def waiting_message(name: str, phone: str, site_name: str, language: str) -> Text:
    """`phone`: of which only the last four digits are shown, enough to answer by."""
    say = speech(language, "alerts")
    digits = phone[-4:]
    plain = " ".join(name.split())[:60]
    subject = say("Somebody new at %(site)s waits for your answer") % {"site": site_name}
    first = say("%(name)s, number ending in %(digits)s, joined at %(site)s by the word on the plate.")
    first = first % {"name": plain, "digits": digits, "site": site_name}
    then = say("What they report counts meanwhile, and is marked as unconfirmed.")
    ask = say("Do you know them? Then answer OK %(digits)s, those two words alone; if you do not, NO %(digits)s.")
    ask = ask % {"digits": digits}
    body = "\n".join([*wrap(first), *wrap(then), "", *wrap(ask)]) + "\n"
    short = say("%(name)s (...%(digits)s) joined at %(site)s. Answer OK %(digits)s or NO %(digits)s")
    short = fold(short % {"name": plain[:20], "digits": digits, "site": site_name[:30]})
    return Text(subject, body, cut(short, SEGMENT))
