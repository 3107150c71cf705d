"""What the owner reads when a message reached nobody, or when a whole way of sending is held or away."""

from __future__ import annotations

from logbook.domain.instants import Instant
from logbook.domain.wording import speech, times
from logbook.domain.wording.labels import role_label
from logbook.domain.wording.mark import mark
from logbook.domain.wording.sentences import Text
from logbook.domain.wording.unquotable import wrap

_WAYS = {"mail": mark("mail"), "text": mark("text messages")}


def trouble_message(what: str, way: str, reason: str, at: Instant, role: str | None, language: str) -> Text:
    """`what`: failed (one message), held (a login or certificate), unreachable, or failing (there, and takes
    nothing over); `role`: whom a message was for."""
    say = speech(language, "alerts")
    by = say(_WAYS.get(way, _WAYS["mail"]))
    when = times.utc(at)
    why = " ".join(reason.split())[:300]
    if what == "failed":
        whom = role_label(role, language) if role is not None else say("somebody")
        subject = say("A message reached nobody")
        first = say("A message for %(whom)s could not be delivered by %(way)s, and no other way reaches them.")
        first = first % {"whom": whom, "way": by}
        then = say("Check the address in the register. What it said is still in the log and on the page.")
    elif what == "held":
        subject = say("Sending by %(way)s is held") % {"way": by}
        first = say("Nothing is sent by %(way)s since %(time)s: the login or the certificate was not accepted.")
        first = first % {"way": by, "time": when}
        then = say("Nothing is lost: all of it waits. Mend the setting; it is tried again every five minutes.")
    else:
        subject = say("Sending by %(way)s fails") % {"way": by}
        if what == "failing":
            first = say("The server for %(way)s is there, but has taken nothing over since %(time)s.")
        else:
            first = say("The server for %(way)s has not been reached since %(time)s.")
        first = first % {"way": by, "time": when}
        then = say("Nothing is lost: all of it waits and is tried again.")
    said = say("It said: %(why)s") % {"why": why}
    paragraphs = [wrap(first), [said], wrap(then)]
    body = "\n\n".join("\n".join(lines) for lines in paragraphs) + "\n"
    return Text(subject, body, f"{subject}. {when}"[:150])
