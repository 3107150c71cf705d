"""What stands before every page: the headers that bind a browser, and the refusal of what another site has it send.

Promises that no page leaves without its policy, that nothing is written on the word of a cookie alone when another
site asked for it, and that a body larger than a page can need is not read. Knows nothing of people.
"""

from __future__ import annotations

import asyncio
from typing import Any

from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

POLICY = "; ".join((
    "default-src 'none'",
    "script-src 'self'",
    "style-src 'self'",
    "img-src 'self' data: blob:",
    "connect-src 'self'",
    "manifest-src 'self'",
    "worker-src 'self'",
    "form-action 'self'",
    "base-uri 'none'",
    "frame-ancestors 'none'",
    # A string never becomes a script; the one address of a service worker goes through the policy of this name.
    "require-trusted-types-for 'script'",
    "trusted-types logbook",
))  # fmt: skip
"""Content Security Policy (W3C, level 3): nothing inline, nothing of anybody else's."""

HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(), microphone=(), camera=(self), payment=()",
    "X-Robots-Tag": "noindex",
}
FILE_HEADERS = {name: HEADERS[name] for name in ("X-Content-Type-Options", "Cross-Origin-Resource-Policy")}
"""What binds a style or a script: it is taken for what it is, and by nobody else. The rest is the page's that asks for
it, and each file would carry as much of it as it has of its own, over a poor signal."""
_NO_FILE = ".svg"
"""A picture of this kind is a document where somebody opens it by itself."""
BODY_MOST = 12_000_000
"""Octets: a phone's photograph as it comes out of the camera, and a little more."""
BODY_WITHIN = 180.0
"""Seconds in which a body has to be here: a photograph by the slowest of nets, and to spare."""
_SAFE = {"GET", "HEAD", "OPTIONS"}
_FOUND = {200, 304}


class Guard:
    """ASGI middleware. `secure`: the pages are reached by https, and are to be reached by nothing else."""

    def __init__(self, app: ASGIApp, *, secure: bool = False) -> None:
        self._app, self._secure = app, secure
        headers = dict(HEADERS)
        if secure:
            headers["Strict-Transport-Security"] = "max-age=31536000"
        self._headers, self._file_headers = _raw(headers), _raw(FILE_HEADERS)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or pass on and add the headers."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        bodiless = scope["method"] == "HEAD" and not scope["path"].startswith("/api/")
        if (
            bodiless
        ):  # whoever looks whether a page is there: as if it were asked for, without the body (RFC 9110, 9.3.2)
            scope = {**scope, "method": "GET"}

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                known = list(message.get("headers", ()))
                names = {name.lower() for name, _value in known}
                bare = message["status"] in _FOUND and _is_file(scope["path"])
                added = self._file_headers if bare else self._headers
                message["headers"] = known + [each for each in added if each[0] not in names]
            elif bodiless:
                message = {**message, "body": b""}
            await send(message)

        refusal = _refusal(scope, headers, self._secure)
        if refusal is not None:
            await _say(guarded, *refusal)
            return
        await self._app(scope, _limited(receive), guarded)


def _raw(headers: dict[str, str]) -> list[tuple[bytes, bytes]]:
    return [(name.lower().encode(), value.encode()) for name, value in {**headers, "Cache-Control": "no-store"}.items()]


def _is_file(path: str) -> bool:
    return path.startswith("/static/") and not path.endswith(_NO_FILE)


def _refusal(scope: Scope, headers: Headers, secure: bool) -> tuple[int, str] | None:
    if "transfer-encoding" in headers and "content-length" in headers:
        # A proxy might go by the other of the two, and take what is left for somebody else's request (RFC 9112, 6.3).
        return 400, "That request says its length in two ways. Nothing was saved."
    if scope["path"].startswith("/api/"):
        return None  # programs come with a key of their own, which no browser adds by itself, and have their own bounds
    length = headers.get("content-length", "0")
    if not (length.isascii() and length.isdigit() and len(length) < 16) or int(length) > BODY_MOST:
        return 413, "That is more than can be taken at once. Nothing was saved. Send a smaller photograph or file."
    if scope["method"] in _SAFE:
        return None
    return (
        None
        if from_here(headers, secure=secure)
        else (403, "Another site asked for this. Nothing was saved. Open the page anew.")
    )


def from_here(headers: Headers, *, secure: bool = False) -> bool:
    """Whether a browser sent this from a page of ours (Fetch Metadata; Origin where a browser is older than that)."""
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site == "same-origin"
    origin = headers.get("origin")
    scheme, _, host = (origin or "").partition("://")
    return bool(host) and host == headers.get("host") and (scheme == "https" or not secure)


def _limited(receive: Receive) -> Receive:
    """A body that was announced small, or not at all, and does not end, or comes by drops: it is cut off."""
    taken, until, whole = 0, asyncio.get_running_loop().time() + BODY_WITHIN, False

    async def limited() -> Message:
        nonlocal taken, whole
        if whole:
            return await receive()  # all that can come is that whoever asked has gone
        try:
            async with asyncio.timeout_at(until):
                message = await receive()
        except TimeoutError:
            raise HTTPException(408, headers={"Connection": "close"}) from None
        if message["type"] == "http.request":
            whole = not message.get("more_body", False)
            taken += len(message.get("body", b""))
            if taken > BODY_MOST:
                raise HTTPException(413)
        return message

    return limited


async def _say(send: Send, status: int, sentence: str) -> None:
    body = sentence.encode()
    # What follows on this line may be the body of what was refused.
    head: Any = [
        (b"connection", b"close"),
        (b"content-type", b"text/plain; charset=utf-8"),
        (b"content-length", str(len(body)).encode()),
    ]
    await send({"type": "http.response.start", "status": status, "headers": head})
    await send({"type": "http.response.body", "body": body})
