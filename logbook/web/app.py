"""The app: rooms put together behind the guard, and one page for all that goes wrong.

Promises that whatever fails is answered with a sentence that says what was kept and what to do, and never with the
inside of the program.
"""

from __future__ import annotations

import math
import re
from collections.abc import Awaitable, Callable

import structlog
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.responses import RedirectResponse, Response

from logbook.domain.door import Refused
from logbook.domain.wording.mark import mark
from logbook.store import StoreError
from logbook.web import assets
from logbook.web.api import Interface, make_api
from logbook.web.forms import StaleForm
from logbook.web.guard import Guard
from logbook.web.house import House
from logbook.web.pages import language_of, preferred, render
from logbook.web.who.limits import TooOften
from logbook.web.who.nexts import first_page
from logbook.web.who.visitor import NotSignedIn, NotYours, visitor

_log = structlog.get_logger("logbook.web")

_SECRET = re.compile(r"^(/[^/]*/(?:enter|due)/).*", re.DOTALL)
NOT_THERE = mark("There is nothing here for you. Perhaps it is another site's, or the address was cut short.")
STALE = mark("This page was open for too long, or somebody else signed in since. Nothing was saved. Do it once more.")
FAILED = mark("This could not be done now. Nothing was saved. Try again in a minute, or send a text.")
UNREADABLE = mark("That was not readable. Nothing was saved. Go back and look at what was entered.")


def make_app(house: House) -> FastAPI:
    """The pages of one logbook, as an ASGI app."""
    from logbook.web import rooms

    app = FastAPI(title="Machine logbook", docs_url=None, redoc_url=None, openapi_url=None)
    app.state.house, app.state.api = house, make_api(house)
    app.include_router(assets.router)
    for router in rooms.routers():
        app.include_router(router)
    app.add_api_route("/", _front, include_in_schema=False)
    for kind, answer in _ANSWERS.items():
        app.add_exception_handler(kind, answer)
    # The first that is added is the innermost.
    app.add_middleware(GZipMiddleware, minimum_size=700)
    app.add_middleware(Interface, api=app.state.api)
    app.add_middleware(Guard, secure=house.secure)
    return app


def _front(request: Request) -> Response:
    """The way in without an address of its own: to what a person of this role looks at first."""
    found, language = visitor(request), preferred(request)
    if found is None:
        return RedirectResponse(f"/{language}/sign-in", 303)
    return RedirectResponse(first_page(found.role, language), 303)


def problem(request: Request, status: int, sentence: str, detail: str = "") -> Response:
    """A page that says what is wrong. `sentence` is one of the shared catalogue; `detail` is shown as it is."""
    return render(request, "problem.html", language_of(request), "", status=status, sentence=sentence, detail=detail)


async def _not_signed_in(request: Request, _why: Exception) -> Response:
    if request.method in {"GET", "HEAD"}:
        from urllib.parse import quote

        where = quote(request.url.path, safe="/")
        return RedirectResponse(f"/{language_of(request)}/sign-in?next={where}", 303)
    return problem(request, 401, STALE)


async def _not_yours(request: Request, _why: Exception) -> Response:
    return problem(request, 404, NOT_THERE)


async def _too_often(request: Request, why: Exception) -> Response:
    wait = why.wait if isinstance(why, TooOften) else 0
    return render(
        request, "who_wait.html", language_of(request), "who", status=429, headers={"Retry-After": str(wait)},
        minutes=math.ceil(wait / 60),
    )  # fmt: skip


async def _stale(request: Request, _why: Exception) -> Response:
    return problem(request, 403, STALE)


async def _refused(request: Request, why: Exception) -> Response:
    return problem(request, 422, "", str(why))


async def _store(request: Request, why: Exception) -> Response:
    _log.error("the database failed", why=str(why))
    return problem(request, 503, FAILED)


async def _unreadable(request: Request, why: Exception) -> Response:
    errors = why.errors() if isinstance(why, RequestValidationError) else []
    if any(error["loc"][0] == "path" for error in errors):
        return problem(request, 404, NOT_THERE)  # no such language, no such code: an address of nothing
    return problem(request, 422, UNREADABLE)


async def _http(request: Request, why: Exception) -> Response:
    status = why.status_code if isinstance(why, HTTPException) else 500
    answer = problem(request, status, NOT_THERE if status in {404, 405} else UNREADABLE)
    for name, value in (getattr(why, "headers", None) or {}).items():
        answer.headers[name] = value
    return answer


def _public(request: Request) -> str:
    """The address for the log, without what may let somebody in: links, and calendars' proofs."""
    return _SECRET.sub(r"\1…", request.url.path)


async def _failed(request: Request, why: Exception) -> Response:
    _log.error("a page has failed", path=_public(request), why=f"{type(why).__name__}: {why}")
    return problem(request, 500, FAILED)


_ANSWERS: dict[type[Exception], Callable[[Request, Exception], Awaitable[Response]]] = {
    NotSignedIn: _not_signed_in,
    NotYours: _not_yours,
    StaleForm: _stale,
    TooOften: _too_often,
    Refused: _refused,
    StoreError: _store,
    RequestValidationError: _unreadable,
    HTTPException: _http,
    Exception: _failed,
}
