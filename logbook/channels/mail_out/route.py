"""The mail route: one server, one connection at a time, one recipient a transaction.

Promises what `logbook.watch.routes.Route` asks. The client library is told every option that it would otherwise
choose: left to itself it encrypts only if it happens to be offered, tries each way of logging in with a wrong
password in turn, looks our own name up in the DNS, and goes on talking after an answer that it could not read.
"""

from __future__ import annotations

import asyncio
import contextlib
import ssl
from pathlib import Path

from aiosmtplib import (
    SMTP,
    SMTPException,
    SMTPHeloError,
    SMTPResponseException,
    SMTPServerDisconnected,
    SMTPTimeoutError,
)

from logbook.channels.mail_out.address import AddressError, checked
from logbook.channels.mail_out.compose import compose
from logbook.channels.mail_out.settings import MailSettings
from logbook.channels.mail_out.verdict import Stage, of_answer, of_tls, printable
from logbook.watch.routes import Again, Hold, Outcome, Outgoing, Refused, Sent

# One attempt at logging in, by the best that both know: three at once look like an attack, and lock accounts.
_LOGINS = ("plain", "login", "cram-md5")
_NO_SUCH_COMMAND = {500, 502}
_LEAVE_SECONDS = 3.0


class MailRoute:
    """See `logbook.watch.routes.Route`. Settings are read once; the password is read at each connection."""

    name = "mail"

    def __init__(self, settings: MailSettings) -> None:
        self._settings = settings
        self._client: SMTP | None = None
        self._turn = asyncio.Lock()
        self._trusted: ssl.SSLContext | None = None  # to read this machine's authorities takes longer than to connect

    @property
    def longest(self) -> float:
        """Seconds: to connect, log in and be taken off hand, and then the server's thinking about the message."""
        return 4 * self._settings.timeout + self._settings.final_timeout

    async def send(self, message: Outgoing) -> Outcome:
        """Hand one message over."""
        try:
            address = checked(message.address)
            octets = compose(message, self._settings.from_address, self._settings.from_name)
        except AddressError as why:
            return Refused(str(why))
        except ValueError as why:
            return Refused(f"this cannot be made into a mail: {why}")
        async with self._turn:
            try:
                async with asyncio.timeout(self.longest):
                    return await self._send(address, octets)
            except TimeoutError:
                self._drop()
                return Again(f"the mail server {self._settings.host} took too long over one message")
            except BaseException:
                self._drop()
                raise

    async def trial(self) -> Again | Hold | None:
        """Connect anew, log in, name our sender, and take it back."""
        await self.rest()
        async with self._turn:
            self._trusted = None  # what was trusted may be just what has been mended
            found: Outcome | None = await self._open()
            if found is None:
                found = await self._name_sender([])
            if found is None:
                await self._reset()
        await self.rest()
        return found if found is None or isinstance(found, Again | Hold) else Hold(str(found))

    async def rest(self) -> None:
        """QUIT, and hang up whatever the answer."""
        async with self._turn:
            if self._client is not None and self._client.is_connected:
                with contextlib.suppress(SMTPException, OSError):
                    await self._client.quit(timeout=min(self._settings.timeout, _LEAVE_SECONDS))
            self._drop()

    async def _send(self, address: str, octets: bytes) -> Outcome:
        reused = self._client is not None and self._client.is_connected
        trouble: Outcome | None = None if reused else await self._open()
        if trouble is not None:
            return trouble
        client = self._connected()
        room = client.esmtp_extensions.get("size", "").strip()
        if room.isdigit() and 0 < int(room) < len(octets):
            return Refused(f"the message has {len(octets)} octets, and the mail server takes {room} at most")
        options = [f"SIZE={len(octets)}"] if client.supports_extension("size") else []
        trouble = await self._name_sender(options)
        if trouble is not None and reused and not client.is_connected:
            # The server was tired of the connection, as it may be after so many messages or seconds. Nothing of
            # this message has been said yet: a new connection is worth one try.
            trouble = await self._open() or await self._name_sender(options)
        if trouble is not None:
            return trouble
        return await self._hand_over(address, octets)

    async def _name_sender(self, options: list[str]) -> Again | Refused | Hold | None:
        client = self._connected()
        try:
            await client.mail(self._settings.from_address, options=options)
        except (SMTPException, OSError) as why:
            return await self._trouble(Stage.SENDER, why)
        return None

    async def _hand_over(self, address: str, octets: bytes) -> Outcome:
        client, stage = self._connected(), Stage.RECIPIENT
        try:
            await client.rcpt(address)
            stage = Stage.MESSAGE
            taken = await client.data(octets, timeout=self._settings.final_timeout)
        except (SMTPException, OSError) as why:
            return await self._trouble(stage, why)
        return Sent(printable(taken.message))

    async def _trouble(self, stage: Stage, why: Exception) -> Again | Refused | Hold:
        """What went wrong, and a connection that is either clean or gone."""
        if isinstance(why, SMTPResponseException):
            found = of_answer(stage, why.code, why.message)
            if 400 <= why.code <= 599 and why.code != 421 and self._client is not None and self._client.is_connected:
                await self._reset()
            else:
                # After something that is no answer, the next answer might belong to it: never go on.
                self._drop()
            return found
        self._drop()
        host = self._settings.host
        if isinstance(why, SMTPTimeoutError):
            return Again(f"{host} did not answer {stage.value} in time")
        return Again(f"the connection to {host} broke off at {stage.value}: {printable(str(why))}")

    async def _reset(self) -> None:
        try:
            await self._connected().rset()
        except (SMTPException, OSError):
            self._drop()

    async def _open(self) -> Again | Hold | None:
        """A new connection, encrypted as set, logged in as set; or why there is none."""
        self._drop()
        settings = self._settings
        try:
            if self._trusted is None and settings.security != "none":
                self._trusted = await asyncio.to_thread(_trust, settings.ca_file)
            secret = await asyncio.to_thread(settings.secret)
        except (OSError, ValueError) as why:
            return Hold(f"the settings of mail cannot be used: {printable(str(why))}")
        client = SMTP(
            hostname=settings.host, port=settings.to_port, local_hostname=settings.says_hello_as,
            timeout=settings.timeout, use_tls=settings.security == "implicit", start_tls=False,
            tls_context=self._trusted,
        )  # fmt: skip
        self._client = client
        stage = Stage.GREETING
        try:
            await client.connect()
            stage = Stage.HELLO
            await self._hello(client)
            if settings.security == "starttls":
                stage = Stage.TLS
                if not client.supports_extension("starttls"):
                    self._drop()
                    return Hold(
                        f"{settings.host} does not offer to encrypt (STARTTLS), as the settings demand; nothing is "
                        "sent in the open"
                    )
                await client.starttls()
                stage = Stage.HELLO
                await client.ehlo()
            stage = Stage.LOGIN
            if settings.user is not None:
                await _log_in(client, settings.user, secret)
        except _NoLoginError as why:
            self._drop()
            return Hold(f"{settings.host}: {why}")
        except (SMTPException, OSError) as why:
            self._drop()
            return _not_open(settings.host, settings.to_port, stage, why)
        return None

    async def _hello(self, client: SMTP) -> None:
        try:
            await client.ehlo()
        except SMTPHeloError as why:
            # A server from before 1995; it has nothing to offer that we could need.
            if why.code not in _NO_SUCH_COMMAND or self._settings.security == "starttls" or self._settings.user:
                raise
            await client.helo()

    def _connected(self) -> SMTP:
        if self._client is None:
            raise SMTPServerDisconnected("not connected")
        return self._client

    def _drop(self) -> None:
        """Hang up at once. No leave is taken of a server that may not be listening."""
        client, self._client = self._client, None
        if client is None:
            return
        transport = client.transport
        client.close()
        if isinstance(transport, asyncio.WriteTransport):
            transport.abort()


def _trust(ca_file: Path | None) -> ssl.SSLContext:
    """Whose certificates are good: those of the authorities that this machine trusts, and of the one that is set."""
    context = ssl.create_default_context()
    if ca_file is not None:
        context.load_verify_locations(cafile=ca_file)
    return context


class _NoLoginError(Exception):
    """There is no way to log in here. Says why."""


async def _log_in(client: SMTP, user: str, secret: str) -> None:
    way = next((way for way in _LOGINS if way in client.server_auth_methods), None)
    if way is None:
        raise _NoLoginError("a login is set, and the server offers none that we know")
    try:
        if way == "plain":
            await client.auth_plain(user, secret)
        elif way == "login":
            await client.auth_login(user, secret)
        else:
            await client.auth_crammd5(user, secret)
    except (ValueError, UnicodeError) as why:  # a challenge that is no base64, a password that cannot be said
        raise _NoLoginError(f"the login could not be said ({printable(str(why))})") from why


def _not_open(host: str, port: int, stage: Stage, why: Exception) -> Again | Hold:
    # The library calls a bad certificate a connection error, and keeps what it was as the cause; at STARTTLS it
    # lets the same error through as it is.
    for error in (why, why.__cause__):
        if isinstance(error, ssl.SSLError):
            return of_tls(host, error)
    if isinstance(why, SMTPResponseException):
        found = of_answer(stage, why.code, why.message)
        if isinstance(found, Hold):
            return found
        return Again(found.reason, route_down=True)
    if isinstance(why, SMTPTimeoutError):
        return Again(f"{host} port {port} did not answer in time ({stage.value})", route_down=True)
    return Again(f"{host} port {port} cannot be reached: {printable(str(why))}", route_down=True)
