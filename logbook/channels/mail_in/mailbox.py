"""The mailbox, watched: each mail that has not been dealt with is read, handed to the desk, and then marked.

Promises that a mail is marked only after the desk (or whoever keeps what is set aside) has returned, so that a crash
at any point means the mail is handed over again, under the same id, which makes nothing twice; that one mail that
cannot be read, fetched or taken never keeps others waiting; and that a connection that breaks is made again, backed off.
What it remembers itself, it remembers only to save work: what it handed over but could not mark, by UIDVALIDITY and UID.
"""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import structlog
from imapclient.exceptions import IMAPClientAbortError, IMAPClientError, LoginError

from logbook.channels.desk import Answer, Message
from logbook.channels.mail_in.reading import Mail, head_only, read
from logbook.channels.mail_in.reasons import Reason
from logbook.channels.mail_in.session import TROUBLES, Session, Waiting
from logbook.channels.mail_in.settings import MailInSettings
from logbook.domain.instants import Instant
from logbook.store import StoreError

_log = structlog.get_logger("logbook.mail_in")

CHANNEL = "mail"
_BATCH = 100
_FIRST_WAIT = 1.0
_RESTS = (0.0, 60.0, 3_600.0)
"""Seconds for which a mail is left alone after the server failed over it once, twice, more often."""
_ENOUGH = 3
"""So many times a mail may bring the desk down with an error of its own before it is kept aside."""


class _NotNow(Exception):
    """The database fails for one mail after another: there is no use in going on."""


class Mailbox:
    """Mail in. `take` and `keep_aside` are called on a thread of the mailbox's own, one mail at a time."""

    def __init__(
        self,
        settings: MailInSettings,
        *,
        take: Callable[[Message], Answer],
        keep_aside: Callable[[Message, str], None],
        now: Callable[[], Instant],
    ) -> None:
        self._settings = settings
        self._take, self._keep_aside, self._now = take, keep_aside, now
        self._halt = threading.Event()
        self._unmarked: dict[tuple[int, int], bool] = {}  # (UIDVALIDITY, UID) -> kept aside; handed over, not marked
        self._failures: dict[tuple[int, int], int] = {}  # whatever the cause: such mails come last
        self._crashes: dict[tuple[int, int], int] = {}
        self._resting: dict[tuple[int, int], float] = {}
        self._singly = False
        self.trouble: str | None = None
        """What is wrong now, as one sentence; None while the mailbox is being watched."""

    async def run(self, stop: asyncio.Event) -> None:
        """Watch until `stop`; then the mail in hand is finished. Raises nothing that a server or a network does."""
        self._halt.clear()
        work = asyncio.ensure_future(asyncio.to_thread(self._watch))
        waiting = asyncio.ensure_future(stop.wait())
        try:
            await asyncio.wait({work, waiting}, return_when=asyncio.FIRST_COMPLETED)
        finally:
            self._halt.set()
            waiting.cancel()
            await work

    def trial(self) -> str | None:
        """Connect, log in, open the folder. What is wrong, as one sentence, or None."""
        try:
            session = Session(self._settings)
        except (*TROUBLES, ValueError) as why:
            return self._sentence(why)
        try:
            if not self._settings.our_authserv_ids:
                return (
                    "Mail in works, but our_authserv_ids is not set: no sender is believed, and all mail is kept aside."
                )
            if not session.keeps_marks:
                return (
                    f"Mail in works, but {self._settings.host} keeps no keywords: a mail that somebody else opens "
                    "first counts as dealt with. Let nobody else open the mailbox."
                )
            return None
        finally:
            session.hang_up()

    # -- on the thread ------------------------------------------------------------------------------------------

    def _watch(self) -> None:
        wait = _FIRST_WAIT
        while not self._halt.is_set():
            session: Session | None = None
            try:
                session = Session(self._settings)
                while not self._halt.is_set():
                    self._deal_with_all(session)
                    self._singly = False
                    if self._resting:
                        self._tell(
                            f"{len(self._resting)} mail in {self._settings.folder} cannot be fetched, because "
                            f"{self._settings.host} fails at it; the others are dealt with. Look at the mail server's log."
                        )
                    elif self.trouble is not None:
                        _log.info("mail in is well again", host=self._settings.host)
                        self.trouble = None
                    wait = _FIRST_WAIT
                    session.wait(self._halt.is_set)
            except _NotNow as why:
                self._tell(f"Mail waits in the mailbox, because the database fails: {why}")
            except LoginError as why:
                wait = self._settings.longest_wait  # again and again would look like an attack
                self._tell(self._sentence(why))
            except (*TROUBLES, ValueError) as why:
                self._tell(self._sentence(why))
            except Exception as why:  # noqa: BLE001 - nothing may end the watch; the log has it whole
                self.trouble = f"Mail in failed, and is tried again: {type(why).__name__}"
                _log.exception("mail in failed; it is tried again")
            finally:
                if session is not None:
                    session.hang_up()
            self._halt.wait(wait)
            wait = min(2 * wait, self._settings.longest_wait)

    def _deal_with_all(self, session: Session) -> None:
        """Until a look at the folder shows nothing more that could be dealt with now."""
        tried: set[int] = set()
        while True:
            session.select()
            # Another UIDVALIDITY: the same numbers may now be other mails.
            for memory in (self._unmarked, self._failures, self._crashes, self._resting):
                for key in [key for key in memory if key[0] != session.uidvalidity]:
                    memory.pop(key, None)
            waiting = session.waiting()
            for key in set(self._resting) - {(session.uidvalidity, uid) for uid in waiting}:
                del self._resting[key]  # somebody took it away
            left = [uid for uid in waiting if uid not in tried and not self._rests(session, uid)]
            if not left:
                return
            left.sort(key=lambda uid: (self._failures.get((session.uidvalidity, uid), 0), uid))
            lost = 0
            size = 1 if self._singly else _BATCH
            for place in range(0, len(left), size):
                batch = left[place : place + size]
                looks = self._look(session, batch)
                for uid in batch:
                    if self._halt.is_set():
                        return
                    tried.add(uid)
                    try:
                        if uid in looks:
                            self._deal_with(session, looks[uid])
                        lost = 0
                    except StoreError as why:
                        self._failed(session, uid)
                        _log.warning("a mail was not kept; it stays in the mailbox", uid=uid, why=str(why))
                        lost += 1
                        if lost > 1:
                            raise _NotNow(str(why)) from why

    def _look(self, session: Session, batch: list[int]) -> dict[int, Waiting]:
        """Sizes and times. (Tried: over one mail whose file was damaged, a server hung up on us each time it was asked
        about a hundred; so after that we ask about one at a time, until we know which one it is.)"""
        try:
            return session.look(batch)
        except TROUBLES as why:
            self._singly = True
            if len(batch) == 1:
                self._not_fetched(session, batch[0], why)
            raise

    def _deal_with(self, session: Session, found: Waiting) -> None:
        key = (session.uidvalidity, found.uid)
        if key not in self._unmarked:
            try:
                mail = self._fetched(session, found)
            except TROUBLES as why:
                self._not_fetched(session, found.uid, why)
                if isinstance(why, IMAPClientError) and not isinstance(why, IMAPClientAbortError):
                    return  # the server cannot give out this one, and goes on with the next
                raise
            if mail is None:
                return  # gone: somebody else took it away
            aside = self._hand_over(session, found, mail)
            if aside is None:
                return
            self._unmarked[key] = aside
        try:
            session.mark(found.uid, aside=self._unmarked[key])
        except (IMAPClientAbortError, OSError, EOFError):
            raise
        except IMAPClientError as why:
            _log.warning("a mail was dealt with but cannot be marked", uid=found.uid, why=str(why))
            return
        for memory in (self._unmarked, self._failures, self._crashes, self._resting):
            memory.pop(key, None)

    def _fetched(self, session: Session, found: Waiting) -> Mail | None:
        settings = self._settings
        arrived = str(found.arrived)
        size = found.size
        if size <= settings.max_bytes:
            octets = session.fetch(found.uid, settings.max_bytes + 1)
            if octets is None:
                return None
            if len(octets) <= settings.max_bytes:
                return read(octets, settings.our_authserv_ids, settings.authserv_headers, arrived)
            size = len(octets)  # the server had named too small a size
        head = session.head(found.uid)
        return None if head is None else head_only(head, size, arrived)

    def _hand_over(self, session: Session, found: Waiting, mail: Mail) -> bool | None:
        """True: kept aside; False: taken; None: neither, and it is to come again. Raises StoreError."""
        # When the mail came in is when it was said, however long it lay there; a server's clock may be ahead of ours.
        now = self._now()
        message = Message(mail.id, CHANNEL, mail.sender, mail.text, min(found.arrived or now, now))
        reason = mail.aside
        key = (session.uidvalidity, found.uid)
        if reason is None and self._crashes.get(key, 0) >= _ENOUGH:
            message, reason = replace(message, id=mail.id.replace("mail:", "mail-aside:", 1)), Reason.FAILED
        try:
            if reason is None:
                answer = self._take(message)
                _log.info("mail taken", id=mail.id, outcome=answer.outcome, repeated=answer.repeated)
                return False
            self._keep_aside(message, reason.value)
            _log.info("mail kept aside", id=mail.id, reason=reason.name, why=mail.why)
        except StoreError:
            raise
        except Exception:  # noqa: BLE001 - one mail that brings the desk down must not stand before all others
            self._failed(session, found.uid)
            self._crashes[key] = self._crashes.get(key, 0) + 1
            _log.exception("a mail could not be dealt with; it is tried again later", id=mail.id)
            return None
        return True

    # -- what went wrong ----------------------------------------------------------------------------------------

    def _failed(self, session: Session, uid: int) -> None:
        key = (session.uidvalidity, uid)
        self._failures[key] = self._failures.get(key, 0) + 1

    def _rests(self, session: Session, uid: int) -> bool:
        return self._resting.get((session.uidvalidity, uid), 0.0) > time.monotonic()

    def _not_fetched(self, session: Session, uid: int, why: Exception) -> None:
        # It is not given up: what fails is the server, and what it holds may be a report. But it rests for a while.
        self._failed(session, uid)
        key = (session.uidvalidity, uid)
        self._resting[key] = time.monotonic() + _RESTS[min(self._failures[key], len(_RESTS)) - 1]
        _log.warning("a mail cannot be fetched; it stays in the mailbox", uid=uid, why=str(why))

    def _tell(self, sentence: str) -> None:
        if sentence != self.trouble:
            _log.warning("mail in is in trouble; it is tried again", why=sentence)
        self.trouble = sentence

    def _sentence(self, why: Any) -> str:
        said = " ".join("".join(c if c.isprintable() else " " for c in str(why)).split())[:300]
        host = self._settings.host
        if isinstance(why, LoginError):
            return f"{host} refused our login to the mailbox: {said}. Mend user or password; nothing is lost meanwhile."
        if isinstance(why, ValueError):
            return f"The mailbox cannot be opened: {said}"
        return f"The mailbox on {host} cannot be read now, and is tried again: {said or type(why).__name__}"
