"""Whether a machine sent a mail, so that nobody is to be answered (RFC 3834, sections 2 and 5)."""

from __future__ import annotations

from logbook.channels.mail_in.mime import Entity

_BULK = {"bulk", "junk", "list", "auto_reply"}
_NOBODY = ("mailer-daemon", "postmaster", "noreply", "no-reply", "donotreply", "do-not-reply")


def sent_by_machine(mail: Entity, sender: str | None) -> str | None:
    """What gives the machine away, or None. One sign is enough: an answer to a machine can go round for ever."""
    if any(value.replace(" ", "") == "<>" for value in mail.all("return-path")):
        return "its Return-Path is empty"
    for value in mail.all("auto-submitted"):
        # RFC 3834, section 5: a keyword, perhaps with parameters and comments behind it.
        if value.split(";")[0].split("(")[0].strip().lower() != "no":
            return "Auto-Submitted"
    for name, _ in mail.fields:
        if name.startswith("list-") or name in {"x-autoreply", "x-autorespond"}:
            return name
    if any(value.strip().lower() in _BULK for value in mail.all("precedence")):
        return "Precedence"
    if any(value.strip().lower() not in {"", "none"} for value in mail.all("x-auto-response-suppress")):
        return "X-Auto-Response-Suppress"
    if mail.type in {"multipart/report", "message/delivery-status", "message/disposition-notification"}:
        return mail.type
    local = (sender or "").partition("@")[0]
    if local in _NOBODY or local.startswith("owner-") or local.endswith("-request"):
        return "the sender's address"
    return None
