"""The short way of the one operation that is asked for by the thousand: posting entries.

Promises the same answers as by the long way, which describes the operation and would do it too: the same steps in the
same order, and the same form for what goes wrong. (Measured: routing, dependencies and middleware, which find out what
is known here from the start, took more of a post than checking, folding and writing it.)
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping

from fastapi import FastAPI, Request
from starlette.middleware.gzip import GZipMiddleware
from starlette.responses import Response
from starlette.types import Receive, Scope, Send

from logbook.web.api.asking import asked_by
from logbook.web.api.bodies import body_of

Answers = Mapping[type[Exception], Callable[[Request, Exception], Awaitable[Response]]]
PACKED_LEAST = 2_000
"""Octets from which an answer is packed for whoever takes it so."""


class Posting:
    """ASGI app: `POST /entries` and nothing else. `answers`: what is told of each exception."""

    def __init__(self, api: FastAPI, answers: Answers) -> None:
        self._api = api
        self._answers = answers

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request. What nobody foresaw is answered, and then raised for the log."""
        scope["app"] = self._api
        request = Request(scope, receive)
        failed: Exception | None = None
        try:
            answer = await self._posted(request)
        except Exception as why:  # noqa: BLE001 - answered below, and raised if nothing more than that is known of it
            kind = next(each for each in type(why).__mro__ if each in self._answers)
            answer = await self._answers[kind](request, why)
            failed = why if kind is Exception else None
        if len(answer.body) < PACKED_LEAST:
            await answer(scope, receive, send)
        else:
            await GZipMiddleware(answer, minimum_size=PACKED_LEAST)(scope, receive, send)
        if failed is not None:
            raise failed

    async def _posted(self, request: Request) -> Response:
        asked = await asked_by(request)
        sent = await body_of(request)
        answer: Response = await self._api.state.together.post(asked, sent)
        return answer
