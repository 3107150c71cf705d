"""Outgoing: the text route by a gateway. One request a message, at the address and in the form of the template.

Promises what `logbook.watch.routes.Route` asks; that a certificate is always checked and no redirect is followed; and
that the same message has the same id each time it is tried, so that a gateway which knows it sends it once.
"""

from __future__ import annotations

import asyncio
import logging
import re
import ssl
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx

from logbook.channels.gateway.fields import UnreadableError, parsed
from logbook.channels.gateway.request import Outward
from logbook.channels.gateway.templates import at_path, filled, filled_address
from logbook.channels.gateway.verdict import of_status
from logbook.channels.mail_out.verdict import of_tls, printable
from logbook.channels.text.gsm7 import is_gsm7, parts, spell
from logbook.domain.instants import Instant
from logbook.watch.routes import Again, Hold, Outcome, Outgoing, Refused, Sent

REPLY_MOST = 64 * 1024
_NUMBER = re.compile(r"\+?\d{3,15}", re.ASCII)  # E.164 has at most 15; a carrier's short number at least 3
_REFERENCE_MOST = 200


@dataclass(frozen=True, slots=True)
class _Reply:
    status: int
    headers: Mapping[str, str]
    body: str


class TextRoute:
    """See `logbook.watch.routes.Route`. Settings are read once; the token is read for each message."""

    name = "text"

    def __init__(self, settings: Outward, *, now: Callable[[], Instant]) -> None:
        """`now`: our clock, against which a date in Retry-After is read."""
        self._settings, self._now = settings, now
        self._client: httpx.AsyncClient | None = None
        self._turn = asyncio.Lock()
        self._trusted: ssl.SSLContext | None = None
        # It would write addresses into the log at `info`, and numbers may stand in them.
        for library in ("httpx", "httpcore"):
            logging.getLogger(library).setLevel(logging.WARNING)

    @property
    def longest(self) -> float:
        """Seconds: one request with its answer, and to be taken off hand."""
        return self._settings.timeout + 2.0

    async def send(self, message: Outgoing) -> Outcome:
        """Hand one message over."""
        number = message.address.strip()
        if not _NUMBER.fullmatch(number):
            return Refused(f"{message.address!r} is no number to which a text can be sent")
        text = as_text(message)
        if not text:
            return Refused("there is nothing to send")
        said = await self._ask(self._settings.method, self._settings.url, self._settings.body, number, text, message)
        if not isinstance(said, _Reply):
            return said
        trouble = of_status(self._settings, said.status, said.headers, said.body, self._now())
        return self._taken(said, text, message) if trouble is None else trouble

    async def trial(self) -> Again | Hold | None:
        """Ask at `check`, if it is set; else ask to send nothing to nobody, and be told that this will not do."""
        await self.rest()
        self._trusted = None  # what was trusted may be just what has been mended
        settings = self._settings
        if settings.check is not None:
            said = await self._ask("GET", settings.check, None, "", "", None)
        else:
            said = await self._ask(settings.method, settings.url, settings.body, "", "", None)
        await self.rest()
        if not isinstance(said, _Reply):
            return said if isinstance(said, Again | Hold) else Hold(str(said))
        if 200 <= said.status <= 299 or (settings.check is None and said.status in settings.refused):
            return None
        trouble = of_status(settings, said.status, said.headers, said.body, self._now())
        return trouble if isinstance(trouble, Again | Hold) else Hold(f"the gateway answered {said.status}")

    async def rest(self) -> None:
        """Let go of connections."""
        async with self._turn:
            await self._drop()

    # -- one request --------------------------------------------------------------------------------------------

    async def _ask(
        self, method: str, url: str, body: dict[str, Any] | None, number: str, text: str, message: Outgoing | None
    ) -> _Reply | Again | Hold | Refused:
        settings = self._settings
        try:
            token = await asyncio.to_thread(settings.secret)
        except ValueError as why:
            return Hold(f"the settings of the gateway cannot be used: {printable(str(why))}")
        ours = message.message_id.strip("<>") if message is not None else "trial"
        values = {"to": number, "digits": number.removeprefix("+"), "text": text, "id": ours, "token": token}
        headers = {name: str(filled(content, values)) for name, content in settings.headers.items()}
        if not all(content.isascii() and content.isprintable() for content in headers.values()):
            return Refused("a header of this message would hold something else than plain letters")
        filled_body = filled(body, values) if body is not None else None
        more: dict[str, Any] = {} if filled_body is None else (
            {"json": filled_body} if settings.format == "json" else {"data": _flat(filled_body)}
        )  # fmt: skip
        auth = httpx.BasicAuth(settings.user, token) if settings.user is not None else None
        async with self._turn:
            try:
                async with asyncio.timeout(settings.timeout):
                    client = await self._open()
                    request = client.build_request(method, filled_address(url, values), headers=headers, **more)
                    return await _asked(client, request, auth)
            except TimeoutError:
                await self._drop()
                return Again(f"{self._host} took too long over one message")
            except (httpx.HTTPError, OSError) as why:
                await self._drop()
                return self._trouble(why)
            except BaseException:
                await self._drop()
                raise

    async def _open(self) -> httpx.AsyncClient:
        if self._client is None:
            if self._trusted is None:
                self._trusted = await asyncio.to_thread(_trust, self._settings.ca_file)
            # To connect has its own limit, well within the whole: if ours ended it there, the library would leave a
            # half-encrypted line open.
            self._client = httpx.AsyncClient(
                verify=self._trusted, follow_redirects=False, trust_env=False,
                timeout=httpx.Timeout(self._settings.timeout, connect=self._settings.timeout / 2),
                limits=httpx.Limits(max_connections=1), headers={"Accept-Encoding": "identity"},
            )  # fmt: skip
        return self._client

    async def _drop(self) -> None:
        client, self._client = self._client, None
        if client is not None:
            await client.aclose()

    @property
    def _host(self) -> str:
        return urlsplit(self._settings.url).hostname or ""

    def _trouble(self, why: Exception) -> Again | Hold:
        host = self._host
        if isinstance(why, httpx.ConnectTimeout):
            return Again(f"{host} did not answer in time", route_down=True)
        if isinstance(why, httpx.TimeoutException):
            return Again(f"{host} took too long over one message")
        error: BaseException | None = why
        while error is not None:  # the library keeps what a connection error was as its cause
            if isinstance(error, ssl.SSLError):
                return of_tls(host, error)
            error = error.__cause__ or error.__context__
        if isinstance(why, OSError):
            return Hold(f"the settings of the gateway cannot be used: {printable(str(why))}")
        if isinstance(why, httpx.ConnectError):
            return Again(f"{host} cannot be reached: {printable(str(why))}", route_down=True)
        return Again(f"the connection to {host} broke off: {printable(str(why) or type(why).__name__)}")

    # -- its answer ---------------------------------------------------------------------------------------------

    def _taken(self, said: _Reply, text: str, message: Outgoing) -> Sent:
        """Taken over it is, whatever else the answer says: never send it again for a name that is missing."""
        count = parts(text)
        words = f"{count} part{'s' if count > 1 else ''}" + ("" if is_gsm7(text) else ", UCS-2")
        wanted = self._settings.reference
        if wanted is None:
            return Sent(words)
        if wanted == "{id}":
            return Sent(words, message.message_id.strip("<>"), self._settings.confirms)
        try:
            found = at_path(parsed(said.body), wanted)
        except UnreadableError:
            found = None
        if isinstance(found, int) and not isinstance(found, bool):
            found = str(found) if abs(found) < 10**_REFERENCE_MOST else None
        if not isinstance(found, str) or not 0 < len(found) <= _REFERENCE_MOST or not found.isprintable():
            return Sent(f"{words}; the gateway gave no name at {wanted}, so it cannot confirm it")
        return Sent(words, found, self._settings.confirms)


def as_text(message: Outgoing) -> str:
    """The words as they are sent: in the alphabet of short messages wherever that loses no letter.

    Accents that it lacks are left out, as in every text of ours; a name in other letters stays as it is, in UCS-2.
    """
    body = message.body.strip() or message.subject.strip()
    spelt = spell(body)
    return spelt if spelt.count("?") == body.count("?") else body


def _flat(body: Mapping[str, Any]) -> dict[str, str]:
    """A form's fields, which are words: true is `true`, as in JSON."""
    return {name: str(value).lower() if isinstance(value, bool) else str(value) for name, value in body.items()}


async def _asked(client: httpx.AsyncClient, request: httpx.Request, auth: httpx.BasicAuth | None) -> _Reply:
    """One request; of its answer as much as anyone needs."""
    reply = await client.send(request, auth=auth, stream=True)
    try:
        kept = bytearray()
        async for chunk in reply.aiter_raw():
            kept += chunk
            if len(kept) > REPLY_MOST:
                break
        return _Reply(reply.status_code, reply.headers, bytes(kept[:REPLY_MOST]).decode("utf-8", "replace"))
    finally:
        await reply.aclose()


def _trust(ca_file: Path | None) -> ssl.SSLContext:
    """Whose certificates are good: those of the authorities that this machine trusts, and of the one that is set."""
    context = ssl.create_default_context()
    if ca_file is not None:
        context.load_verify_locations(cafile=ca_file)
    return context
