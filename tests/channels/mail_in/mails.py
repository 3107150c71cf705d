"""Made-up mails, as bytes."""

from __future__ import annotations

import itertools

OURS = "mx.ferry.example"
PROVED = f"{OURS}; dmarc=pass header.from=ferry.example; dkim=pass header.d=ferry.example; spf=pass smtp.mailfrom=ferry.example"
_numbers = itertools.count(1)


def mail(
    body: str | bytes = "B7H rinsed",
    *,
    sender: str = "Ana Silva <ana@ferry.example>",
    proof: str | None = PROVED,
    message_id: str | None = "",
    date: str | None = "Wed, 25 Nov 2026 05:12:00 -0400",
    subject: str = "report",
    type: str = "text/plain; charset=utf-8",
    top: str = "",
    more: str = "",
) -> bytes:
    """One mail. `message_id`: "" for a new one, None for none. `top`: whole fields above all others; `more`: below."""
    if message_id == "":
        message_id = f"<{next(_numbers)}@phone.example>"
    head = top.split("\n") if top else []
    if proof is not None:
        head.append(f"Authentication-Results: {proof}")
    head += ["Received: from phone.example by mx.ferry.example; Wed, 25 Nov 2026 09:12:01 +0000", f"From: {sender}"]
    head += [f"Message-ID: {message_id}"] * (message_id is not None) + [f"Date: {date}"] * (date is not None)
    head += [f"Subject: {subject}", "To: log@ferry.example", "MIME-Version: 1.0", f"Content-Type: {type}"]
    head += more.split("\n") if more else []
    octets = body if isinstance(body, bytes) else body.encode()
    return "\r\n".join(head).encode() + b"\r\n\r\n" + octets.replace(b"\r\n", b"\n").replace(b"\n", b"\r\n") + b"\r\n"
