"""The interface put together: its operations, its description, and one form for all that goes wrong."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

import structlog
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.responses import Response
from starlette.types import ASGIApp, Receive, Scope, Send

from logbook.domain.door import Refused
from logbook.store import StoreError
from logbook.web.api import about, alerts, entries, history, machines
from logbook.web.api.description import TEXT, TITLE, VERSION, describe
from logbook.web.api.limits import Limits
from logbook.web.api.posting import PACKED_LEAST, Posting
from logbook.web.api.problems import Problem, pointer, told
from logbook.web.api.reporting import refusal
from logbook.web.api.together import Together
from logbook.web.house import House

PATH = "/api/v1"
_POSTED = f"{PATH}/entries"
_log = structlog.get_logger("logbook.web.api")


def make_api(house: House | None = None) -> FastAPI:
    """The interface of one logbook as an ASGI app; without one, its description alone."""
    api = FastAPI(
        title=TITLE, version=VERSION, description=TEXT, docs_url=None, redoc_url=None, openapi_url="/openapi.json",
        redirect_slashes=False, root_path_in_servers=False, servers=[{"url": PATH}],
    )  # fmt: skip
    for room in (entries, machines, history, alerts, about):  # looked for in this order; most is posted
        api.include_router(room.router)
    api.state.house = house
    api.state.limits, api.state.together = Limits(), Together()
    api.openapi = describe(api)  # type: ignore[method-assign]
    for kind, answer in _ANSWERS.items():
        api.add_exception_handler(kind, answer)
    return api


class Interface:
    """ASGI middleware: what is asked of the interface goes to it, and to nothing that only pages need."""

    def __init__(self, app: ASGIApp, api: FastAPI) -> None:
        self._app = app
        self._api = GZipMiddleware(api, minimum_size=PACKED_LEAST)
        self._posting = Posting(api, _ANSWERS)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, under the interface's own root."""
        path = scope.get("path", "")
        if scope["type"] == "http" and (path == PATH or path.startswith(f"{PATH}/")):
            posted = path == _POSTED and scope["method"] == "POST"
            to: ASGIApp = self._posting if posted else self._api
            await to({**scope, "root_path": scope.get("root_path", "") + PATH}, receive, send)
        else:
            await self._app(scope, receive, send)


async def _problem(request: Request, why: Exception) -> Response:
    assert isinstance(why, Problem)  # noqa: S101 - the table below sends nothing else here
    return told(request, why)


async def _refused(request: Request, why: Exception) -> Response:
    assert isinstance(why, Refused)  # noqa: S101 - the same
    return told(request, refusal(why))


async def _store(request: Request, why: Exception) -> Response:
    _log.error("the database failed", why=str(why))
    said = (
        "The logbook cannot be read or written now. Nothing of this was saved, unless it is answered as repeated later."
    )
    return told(request, Problem("unavailable", f"{said} Send it again in a while, with the same ids."))


async def _no_fleet(request: Request, why: Exception) -> Response:
    if type(why) is not LookupError:
        return await _failed(request, why)
    return told(request, Problem("unavailable", str(why)))


async def _parameters(request: Request, why: Exception) -> Response:
    assert isinstance(why, RequestValidationError)  # noqa: S101 - the same
    errors = why.errors()
    if any(error["loc"][0] == "path" for error in errors):
        return told(request, Problem("not_there", "There is no such thing at this address."))
    faults = [
        (str(error["loc"][-1]) if error["loc"][0] == "query" else pointer(*error["loc"][1:]), str(error["msg"]))
        for error in errors
    ]
    where, what = faults[0]
    return told(request, Problem("invalid", f"{where}: {what}. Nothing was done.", errors=faults))


async def _http(request: Request, why: Exception) -> Response:
    assert isinstance(why, HTTPException)  # noqa: S101 - the same
    headers = dict(why.headers or {})
    if why.status_code == 404:
        return told(
            request, Problem("not_there", "There is nothing at this address; /api/v1/openapi.json lists what is.")
        )
    if why.status_code == 405:
        said = f"{request.method[:20]} is not done at this address. Nothing was done; Allow names what is."
        return told(request, Problem("wrong_method", said, headers=headers))
    return told(request, Problem("malformed", "The request cannot be read. Nothing was done.", headers=headers))


async def _failed(request: Request, why: Exception) -> Response:
    _log.error("an operation has failed", path=request.url.path, why=f"{type(why).__name__}: {why}")
    return told(request, Problem("failed", "The program has failed. Nothing of this was saved. Tell whoever runs it."))


_ANSWERS: dict[type[Exception], Callable[[Request, Exception], Awaitable[Response]]] = {
    Problem: _problem,
    Refused: _refused,
    StoreError: _store,
    LookupError: _no_fleet,
    RequestValidationError: _parameters,
    HTTPException: _http,
    Exception: _failed,
}
