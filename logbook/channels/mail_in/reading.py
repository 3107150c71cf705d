"""From the octets of a mail to what the desk needs, and to whether the desk is to have it at all. Pure; never raises.

The id is made of the mail alone, so that it is the same in every copy, after every crash, in every mailbox:
`mail:` + Message-ID + `#` + a digest of the sender, the Date and the own words. The digest is always there, and not
only where a Message-ID is missing: whether one was used before with other content would have to be remembered,
and a copy that came another way differs in its trace fields but not in these three. A mail without a Date is
told from another by when it arrived.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Collection
from dataclasses import dataclass

from logbook.channels.mail_in import charsets, mime
from logbook.channels.mail_in.auth import Verdict, verdict
from logbook.channels.mail_in.author import author
from logbook.channels.mail_in.machines import sent_by_machine
from logbook.channels.mail_in.mime import Entity
from logbook.channels.mail_in.quotes import Own, own_words
from logbook.channels.mail_in.reasons import Reason

LONGEST = 2_000
"""Characters of own words. A report has some dozens; twelve text messages in one have fewer than this."""
_AS_IT_CAME = "[This mail as it came, somebody else's words included]"
"""Above a text whose own words are not known: a text that begins like this is never read as a report."""
_MOST = 64_000
"""Characters of all text in a mail, quotes included, that are looked at for own words."""
_KEPT = 8_000
_I = re.IGNORECASE
_MESSAGE_ID = re.compile(r"[!-~]{1,160}", re.ASCII)
_REPLY = re.compile(
    r"\W*(?:re|aw|sv|vs|antw|r|rv|res|rif|fw|fwd|fyi|enc|tr|wg|rta|reenv|respuesta|reply)\s*(?:[\[(]\d+[\])])?\s*:", _I
)
_TAG = re.compile(r"^\s*\[(?:external|externo|ext)\]\s*", _I)


@dataclass(frozen=True, slots=True)
class Mail:
    """`text`: the sender's own words; where the mail is kept aside, all that could be read of it. `aside`: why it is,
    or None. `why`: more about that, for the program's log."""

    id: str
    sender: str
    text: str
    aside: Reason | None
    why: str = ""


def read(octets: bytes, ours: Collection[str], authserv_headers: int = 1, arrived: str = "") -> Mail:
    """The whole mail. `ours` and `authserv_headers`: see `auth.verdict`. `arrived`: the server's mark of when."""
    try:
        mail = mime.parse(octets)
        return _judged(mail, ours, authserv_headers, arrived)
    except (ValueError, RecursionError) as why:
        # BrokenMailError, and whatever nobody thought of: kept aside, and never in the way of the next mail.
        digest = hashlib.sha256(octets).hexdigest()[:32]
        return Mail(f"mail-aside:#{digest}", "", "", Reason.UNREADABLE, str(why))


def head_only(octets: bytes, size: int, arrived: str) -> Mail:
    """A mail that is too large to fetch, by its head (or the beginning of it)."""
    mail = mime.parse(octets)
    sender = author(mail.all("from")) or ""
    text = f"{charsets.words(mail.first('subject'))[:200]} ({size} octets)".strip()
    return Mail(_id(mail, sender, text, arrived, aside=True), sender, text, Reason.TOO_LARGE)


def _judged(mail: Entity, ours: Collection[str], authserv_headers: int, arrived: str) -> Mail:
    sender = author(mail.all("from"))
    whole = mime.text(mail)
    own = own_words(whole) if len(whole) <= _MOST else Own(whole, quoted=True, unclear=False)
    text = own.text
    if not text and not own.quoted:
        text = _subject(mail)
    machine = sent_by_machine(mail, sender)
    reason: Reason | None = None
    if machine is not None:
        reason = Reason.MACHINE
    elif sender is None:
        reason = Reason.NO_SENDER
    else:
        found = verdict(mail.fields, sender, ours, authserv_headers)
        if found is Verdict.FORGED:
            reason = Reason.FORGED
        elif found is Verdict.UNPROVED:
            reason = Reason.UNPROVED
        elif own.unclear:
            reason = Reason.UNCLEAR
        elif not text:
            reason = Reason.EMPTY
        elif len(text) > LONGEST:
            reason = Reason.TOO_LONG
    id_ = _id(mail, sender or "", text, arrived, aside=reason is not None)
    if reason in {Reason.UNCLEAR, Reason.EMPTY}:
        text = "\n".join((_AS_IT_CAME, whole.strip() or charsets.words(mail.first("subject"))))
    return Mail(id_, sender or "", text[:_KEPT], reason, machine or "")


def _subject(mail: Entity) -> str:
    """The subject as a report, where the body says nothing: not that of a reply, which somebody else wrote."""
    if mail.first("in-reply-to") or mail.first("references"):
        return ""
    subject = _TAG.sub("", charsets.words(mail.first("subject")))
    return "" if _REPLY.match(subject) else subject


def _id(mail: Entity, sender: str, text: str, arrived: str, *, aside: bool) -> str:
    # What was kept aside has a name of its own: a forged or stray copy must not stand in for the true one.
    named = mail.first("message-id").strip()
    content = "\0".join((named, sender, mail.first("date") or f"arrived {arrived}", text))
    digest = hashlib.sha256(content.encode("utf-8", "replace")).hexdigest()[:32]
    shown = named.strip("<>") if _MESSAGE_ID.fullmatch(named) else ""
    return f"{'mail-aside' if aside else 'mail'}:{shown}#{digest}"
