"""Incoming: the web address at which a gateway posts texts and receipts.

Promises that 200 is answered only after what was posted is kept; that the same message again is answered as before;
that a body is never read past its limit; and that a post which is not signed learns nothing but that, and leaves
nothing behind. It sets no cookies, allows no other site's pages in, and shows no description of itself. Bodies of
refusals are RFC 9457; the body of a 200 is empty, for a gateway may send on as a text whatever stands there.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from functools import partial
from http import HTTPStatus

import structlog
from fastapi import FastAPI, Request, Response
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect

from logbook.channels.desk import Message
from logbook.channels.gateway.fields import Text, UnreadableError, receipt_of, text_of
from logbook.channels.gateway.posts import Inward
from logbook.channels.gateway.settings import GatewaySettings
from logbook.channels.gateway.signature import WINDOW, NotOursError, timely, verify
from logbook.channels.gateway.turns import FullError, Turns
from logbook.domain.instants import SECOND, Instant
from logbook.domain.instants import text as instant_text
from logbook.store import StoreError

Take = Callable[[Message], object]
"""Keeps a text, and returns after commit: `logbook.channels.desk.Desk.take`."""
Hear = Callable[[str, bool, Instant, str], object]
"""Is told of a message by the gateway's name for it: reference, whether it arrived, when, and its words.

False (and not None): nothing goes by that name, or not yet, for a gateway may be quicker than we are to note the name.
"""

CHANNEL = "gateway"
"""The way, by which its answers find back, whatever this gateway is called."""
BODY_MOST = 64 * 1024
DRAIN_MOST = 1024 * 1024
"""So much more is read and thrown away, so that whoever sends it hears why; past that the line is cut."""
BODY_SECONDS = 10.0
"""A body that takes longer is not waited for: a gateway's posts are small, and it comes again."""
RETRY_SECONDS = 30
RECEIPT_PAUSE = 2.0
"""Seconds until a receipt for an unknown name is looked at once more."""
AT_ONCE = 4
"""Texts of so many senders are dealt with at once. More is no quicker (measured): one processor is the bound."""
WAITING_MOST = 256

_log = structlog.get_logger("logbook.gateway")


class _NoError(Exception):
    """A post that is refused: the status, and for those whom it concerns a sentence."""

    def __init__(self, status: HTTPStatus, detail: str = "", **headers: str) -> None:
        super().__init__(detail or status.phrase)
        self.status, self.detail, self.headers = status, detail, headers


def make_app(
    settings: GatewaySettings, take: Take, hear: Hear | None = None, *, now: Callable[[], Instant],
    at_once: int = AT_ONCE, waiting_most: int = WAITING_MOST,
) -> FastAPI:  # fmt: skip
    """The ASGI app of a gateway. `hear`: for receipts, if the template has any. `now`: our clock.

    `at_once`: texts of that many senders are dealt with at one time. Raises ValueError for settings without `in`.
    """
    if settings.inward is None:
        raise ValueError("nothing comes in from a gateway without [gateway.in]")
    counter = _Counter(settings, settings.inward, take, hear, now, Turns(at_once, waiting_most))

    @asynccontextmanager
    async def life(_app: FastAPI) -> AsyncIterator[None]:
        yield
        await counter.turns.close()

    app = FastAPI(openapi_url=None, docs_url=None, redoc_url=None, lifespan=life, redirect_slashes=False)
    app.add_exception_handler(HTTPException, _of_framework)
    app.add_api_route(settings.inward.path, _guarded(counter.text), methods=["POST"], response_model=None)
    if settings.receipt is not None and hear is not None:
        app.add_api_route(settings.receipt.path, _guarded(counter.receipt), methods=["POST"], response_model=None)
    return app


class _Counter:
    """Where posts are handed in."""

    def __init__(
        self, settings: GatewaySettings, template: Inward, take: Take, hear: Hear | None,
        now: Callable[[], Instant], turns: Turns,
    ) -> None:  # fmt: skip
        self._settings, self._template, self.turns = settings, template, turns
        self._take, self._hear, self._now = take, hear, now

    async def text(self, request: Request) -> None:
        """A text: kept, or refused with `_NoError`."""
        said = text_of(await self._signed(request), self._template)
        # Two ways, or two gateways, may number their messages alike.
        message = Message(f"{self._settings.name}:{said.id}", CHANNEL, said.sender, said.text, self._received(said))
        answer = await self._kept(said.sender, partial(self._take, message))
        if getattr(answer, "repeated", False):
            _log.info("the same id again, answered as before", id=message.id)

    async def receipt(self, request: Request) -> None:
        """A word about a message that we sent."""
        if self._settings.receipt is None or self._hear is None:
            raise _NoError(HTTPStatus.NOT_FOUND)
        said = receipt_of(await self._signed(request), self._settings.receipt)
        if said.arrived is None:
            _log.info("a receipt that says nothing yet", reference=said.reference, detail=said.detail)
            return
        job = partial(self._hear, said.reference, said.arrived, self._now(), said.detail)
        known = await self._kept(f"receipt {said.reference}", job)
        if known is False:
            await asyncio.sleep(RECEIPT_PAUSE)
            known = await self._kept(f"receipt {said.reference}", job)
        if known is False:
            _log.info("a receipt for nothing that we know", reference=said.reference, detail=said.detail)

    def _received(self, said: Text) -> Instant:
        """When a text was received: as the gateway has stamped it, if that can be."""
        now = self._now()
        if said.at is None:
            return now
        off = said.at - now
        # Behind, as far as the settings allow; ahead, no clock may be more than the one that signs.
        if -int(self._template.at_within * SECOND) <= off <= min(WINDOW, int(self._template.at_within * SECOND)):
            return said.at
        _log.warning(
            "the gateway's stamp was doubted, and our own clock used", id=said.id, stamp=instant_text(said.at),
            off_seconds=off // SECOND,
        )  # fmt: skip
        return now

    async def _kept(self, key: str, job: Callable[[], object]) -> object:
        try:
            return await self.turns.run(key, job)
        except FullError as why:
            _log.warning("too much at once; the gateway is asked to come again", why=str(why))
            raise _again() from None
        except StoreError as why:
            _log.error("nothing was kept; the gateway is asked to come again", why=str(why))
            raise _again() from None
        except Exception:  # noqa: BLE001 - told in our log, and the gateway keeps what it has
            _log.exception("a fault in the program; nothing is known to be kept, and the gateway may come again")
            raise _NoError(HTTPStatus.INTERNAL_SERVER_ERROR) from None

    async def _signed(self, request: Request) -> bytes:
        """The body, once it is known to be the gateway's."""
        headers, template = request.headers, self._template
        try:
            timestamp, signature = timely(
                template, headers.getlist(template.timestamp_header), headers.getlist(template.signature_header),
                self._now(),
            )  # fmt: skip
            body = await _body(request)
            secrets = await asyncio.to_thread(self._settings.secrets)
            verify(template, secrets, timestamp, signature, body)
        except NotOursError as why:
            _log.warning("a post was turned away", why=str(why), path=request.url.path)
            raise _NoError(HTTPStatus.UNAUTHORIZED, **{"WWW-Authenticate": "HMAC-SHA256"}) from None
        except ValueError as why:
            _log.error("the secret cannot be read; nothing is taken", why=str(why))
            raise _again() from None
        return body


async def _body(request: Request) -> bytes:
    """The body, as far as the limit. Raises _NoError past it, and for one that does not come."""
    announced = request.headers.get("content-length", "")
    if announced.isascii() and announced.isdigit() and (len(announced) > 9 or int(announced) > DRAIN_MOST):
        raise _NoError(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, Connection="close")
    if request.headers.get("content-encoding", "identity").lower() != "identity":
        raise _NoError(HTTPStatus.UNSUPPORTED_MEDIA_TYPE)
    kept, size = bytearray(), 0
    try:
        async with asyncio.timeout(BODY_SECONDS):
            async for chunk in request.stream():
                size += len(chunk)
                if size > DRAIN_MOST:
                    raise _NoError(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, Connection="close")
                if size <= BODY_MOST:
                    kept += chunk
    except TimeoutError:
        raise _NoError(HTTPStatus.REQUEST_TIMEOUT, Connection="close") from None
    except ClientDisconnect:
        raise _NoError(HTTPStatus.BAD_REQUEST) from None  # nobody is there to read it
    if size > BODY_MOST:
        raise _NoError(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
    return bytes(kept)


def _guarded(take: Callable[[Request], Awaitable[None]]) -> Callable[[Request], Awaitable[Response]]:
    async def endpoint(request: Request) -> Response:
        try:
            await take(request)
        except UnreadableError as why:
            _log.warning("a signed post could not be read", why=str(why), path=request.url.path)
            return _problem(HTTPStatus.BAD_REQUEST, str(why))
        except _NoError as why:
            return _problem(why.status, why.detail, why.headers)
        return Response(status_code=HTTPStatus.OK)

    return endpoint


def _again() -> _NoError:
    return _NoError(
        HTTPStatus.SERVICE_UNAVAILABLE, "Nothing of this was kept. Post it again, with the same id.",
        **{"Retry-After": str(RETRY_SECONDS)},
    )  # fmt: skip


async def _of_framework(_request: Request, why: Exception) -> Response:
    """No such path, no such method: said like everything else."""
    if not isinstance(why, HTTPException):
        return _problem(HTTPStatus.INTERNAL_SERVER_ERROR)
    return _problem(HTTPStatus(why.status_code), "", dict(why.headers or {}))


def _problem(status: HTTPStatus, detail: str = "", headers: dict[str, str] | None = None) -> Response:
    said: dict[str, object] = {"type": "about:blank", "title": status.phrase, "status": int(status)}
    if detail:
        said["detail"] = detail
    return JSONResponse(said, int(status), headers, media_type="application/problem+json")
