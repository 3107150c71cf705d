"""One connection to the mail server: what is asked of it, in the few words of IMAP that are needed.

Promises to fetch no more of a mail than was allowed, whatever size the server names; to read without marking; and
to mark only when told to. A mail that was dealt with bears a keyword of ours (RFC 9051, section 2.3.2): somebody
who opens the mailbox and makes a mail *seen* takes nothing away from us.
"""

from __future__ import annotations

import contextlib
import ssl
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from imapclient import IMAPClient, SocketTimeout
from imapclient.exceptions import IMAPClientAbortError, IMAPClientError

from logbook.channels.mail_in.settings import MailInSettings
from logbook.domain.instants import Instant, from_datetime

KEYWORD = b"$LogbookTaken"
_SLICE = 0.5
"""Seconds: how long a wait may go on after it was told to end."""
HEAD = 64 * 1024
"""Octets that are fetched of the head of a mail which is too large."""

TROUBLES = (IMAPClientError, OSError, EOFError)
"""What a server or a network does to us. (A login that is refused is among them.)"""


@dataclass(frozen=True, slots=True)
class Waiting:
    """A mail on the server. `arrived`: as the server marked it; None if it says nothing that can be read."""

    uid: int
    size: int
    arrived: Instant | None


class Session:
    """An open mailbox. Every method raises one of TROUBLES when the server or the line fails."""

    def __init__(self, settings: MailInSettings) -> None:
        self._settings = settings
        self.uidvalidity = 0
        self._keyword = True
        self._known: set[int] = set()
        context = None if settings.security == "none" else ssl.create_default_context(cafile=settings.ca_file)
        self._client = IMAPClient(
            settings.host,
            settings.to_port,
            ssl=settings.security == "implicit",
            ssl_context=context,
            timeout=SocketTimeout(settings.timeout, settings.timeout),
        )
        try:
            self._client.normalise_times = False  # instants with their zone, not this machine's wall clock
            if settings.security == "starttls":
                self._client.starttls(context)
            self._client.login(settings.user, settings.secret())
            if settings.done_folder is not None and not self._client.folder_exists(settings.done_folder):
                self._client.create_folder(settings.done_folder)
            self.select()
        except BaseException:
            self.hang_up()
            raise

    @property
    def keeps_marks(self) -> bool:
        """Whether the server keeps our keyword; else a mail is marked as seen, and one that is seen counts as done."""
        return self._keyword

    def select(self) -> None:
        """Open the folder, or look at it anew: its UIDVALIDITY may have changed."""
        said = self._client.select_folder(self._settings.folder)
        self.uidvalidity = int(said.get(b"UIDVALIDITY", 0))
        allowed = said.get(b"PERMANENTFLAGS", ())
        self._keyword = b"\\*" in allowed or KEYWORD.lower() in (flag.lower() for flag in allowed)

    def waiting(self) -> list[int]:
        """The UIDs of the mails that nobody has dealt with, oldest first."""
        mark = [b"UNKEYWORD", KEYWORD] if self._keyword else [b"UNSEEN"]
        found = sorted(self._client.search([b"UNDELETED", *mark]))
        self._known = set(found)
        return found

    def look(self, uids: Sequence[int]) -> dict[int, Waiting]:
        """Size and time of arrival. A mail that has gone in the meantime is left out."""
        if not uids:
            return {}
        found = self._client.fetch(uids, [b"RFC822.SIZE", b"INTERNALDATE"])
        return {
            uid: Waiting(uid, int(said[b"RFC822.SIZE"]), _instant(said.get(b"INTERNALDATE")))
            for uid, said in found.items()
            if b"RFC822.SIZE" in said
        }

    def fetch(self, uid: int, most: int) -> bytes | None:
        """At most `most` octets of a mail; None if it has gone. A mail in a broken store may raise for ever."""
        return self._part(uid, "BODY.PEEK[]", "BODY[]", most)

    def head(self, uid: int) -> bytes | None:
        """The beginning of its head."""
        return self._part(uid, "BODY.PEEK[HEADER]", "BODY[HEADER]", HEAD)

    def _part(self, uid: int, asked: str, named: str, most: int) -> bytes | None:
        said = self._client.fetch([uid], [f"{asked}<0.{most}>"]).get(uid, {})
        found = said.get(f"{named}<0>".encode())
        return found if isinstance(found, bytes) else None

    def mark(self, uid: int, *, aside: bool) -> None:
        """Dealt with. What was kept aside stays in the folder, flagged; the rest goes to the done folder, if any."""
        flags = [b"\\Flagged"] if aside else [b"\\Seen"]
        if self._keyword:
            flags.append(KEYWORD)
        elif aside:
            flags.append(b"\\Seen")
        self._client.add_flags([uid], flags, silent=True)
        folder = self._settings.done_folder
        if folder is None or aside:
            return
        if self._client.has_capability("MOVE"):
            self._client.move([uid], folder)
        else:
            self._client.copy([uid], folder)
            self._client.delete_messages([uid], silent=True)
            if self._client.has_capability("UIDPLUS"):  # without it, others' deleted mails would go as well
                self._client.uid_expunge([uid])

    def wait(self, ended: Callable[[], bool]) -> None:
        """Until the server has news, it has been long enough, or `ended` says so."""
        if not self._client.has_capability("IDLE"):
            until = time.monotonic() + self._settings.poll
            while not ended() and (left := until - time.monotonic()) > 0:
                time.sleep(min(_SLICE, left))
            self._client.noop()
            return
        # What came while the last commands ran was announced with their answers, where nobody listens for it: IDLE
        # would not announce it again. So look once more, and listen only if there is nothing new.
        known = self._known
        self._client.noop()
        if set(self.waiting()) - known:
            return
        until = time.monotonic() + self._settings.idle
        self._client.idle()
        while not ended() and (left := until - time.monotonic()) > 0:
            began = time.monotonic()
            news = self._client.idle_check(timeout=min(_SLICE, left))
            if any(said[0] == b"BYE" for said in news if isinstance(said, tuple) and said):
                raise IMAPClientAbortError("the server took its leave")
            if any(isinstance(said, tuple) and len(said) > 1 and said[1] in (b"EXISTS", b"RECENT") for said in news):
                break
            if not news and time.monotonic() - began < min(_SLICE, left) / 2:
                break  # the line is gone: what follows says so
        self._client.idle_done()

    def hang_up(self) -> None:
        """Take leave if that can be done; raises nothing that a server or a network does."""
        with contextlib.suppress(*TROUBLES):
            self._client.logout()
        with contextlib.suppress(*TROUBLES):
            self._client.shutdown()


def _instant(said: Any) -> Instant | None:
    try:
        return from_datetime(said)
    except (AttributeError, TypeError, ValueError, OverflowError):
        return None
