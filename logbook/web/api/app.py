"""The interface put together: its operations, its description, and one form for all that goes wrong."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

import structlog
from fastapi import APIRouter, FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import Response

from logbook.domain.door import Refused
from logbook.store import StoreError
from logbook.web.api import about, alerts, entries, history, machines
from logbook.web.api.description import TEXT, TITLE, VERSION, describe
from logbook.web.api.limits import Limits
from logbook.web.api.problems import Problem, pointer, told
from logbook.web.api.reporting import refusal
from logbook.web.api.together import Together

PATH = "/api/v1"
_log = structlog.get_logger("logbook.web.api")


def make_api() -> FastAPI:
    """The interface as an ASGI app. Its `state.house` is given by `router_for`, or by the app it is mounted in."""
    api = FastAPI(
        title=TITLE, version=VERSION, description=TEXT, docs_url=None, redoc_url=None, openapi_url="/openapi.json",
        redirect_slashes=False, root_path_in_servers=False, servers=[{"url": PATH}],
    )  # fmt: skip
    for room in (entries, machines, history, alerts, about):  # looked for in this order; most is posted
        api.include_router(room.router)
    api.state.limits, api.state.together = Limits(), Together()
    api.openapi = describe(api)  # type: ignore[method-assign]
    for kind, answer in _ANSWERS.items():
        api.add_exception_handler(kind, answer)
    return api


def router_for() -> APIRouter:
    """The interface as a room of the pages."""
    router = APIRouter()
    router.mount(PATH, _Housed(make_api()))
    return router


class _Housed:
    """Gives the interface the house of the app in which it stands."""

    def __init__(self, api: FastAPI) -> None:
        self.api = api

    async def __call__(self, scope, receive, send) -> None:  # type: ignore[no-untyped-def]
        self.api.state.house = scope["app"].state.house
        await self.api(scope, receive, send)


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
