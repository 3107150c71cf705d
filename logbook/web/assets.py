"""Styles, scripts and pictures: files of ours in `static/`, under addresses that name their content.

Promises that what is kept by a browser under an address never changes; that nothing outside `static/` is served; and
that a phone with a poor signal is sent no more than it needs: without comments, and packed once and for all.
"""

from __future__ import annotations

import gzip
import hashlib
from collections.abc import Callable
from functools import cache
from importlib import resources

from fastapi import APIRouter, Request, Response

from logbook.web import lean

FOREVER = "public, max-age=31536000, immutable"
_TYPES = {
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "svg": "image/svg+xml",
    "png": "image/png",
}
_LEANER: dict[str, Callable[[str], str]] = {"css": lean.style, "js": lean.script}
_PACKED_LEAST = 700
"""Octets: what is smaller gains nothing."""
router = APIRouter()


@cache
def files() -> dict[str, bytes]:
    """Every file of `static/`, by name, as it is served."""
    room = resources.files("logbook.web").joinpath("static")
    found = ((each.name, each) for each in room.iterdir())
    return {name: _lean(name, each.read_bytes()) for name, each in found if _sort(name) in _TYPES}


@cache
def address(name: str) -> str:
    """Where a file of `static/` is had. Raises KeyError if there is none of this name.

    All addresses begin with one digest over all files, so that a script may ask for its neighbour by name.
    """
    if name not in files():
        raise KeyError(f"there is no static/{name}")
    return f"/static/{edition()}/{name}"


@cache
def edition() -> str:
    """A digest over all files, names included."""
    made = hashlib.sha256()
    for name, content in sorted(files().items()):
        made.update(f"{name}\0{len(content)}\0".encode() + content)
    return made.hexdigest()[:12]


@router.get("/static/{version}/{name}", include_in_schema=False)
async def asset(request: Request, version: str, name: str) -> Response:
    """A file. An older edition's address gives today's file, which is not to be kept without asking again."""
    content = files().get(name)
    if content is None:
        return Response("There is no such file.", 404, media_type="text/plain")
    headers = {"Cache-Control": FOREVER}
    packed = _packed(name)
    taken = packed is not None and "gzip" in request.headers.get("accept-encoding", "")
    if version != edition():
        # The octets' own tag: packed ones are others (RFC 9110, section 8.8.3.3).
        tag = f'"{edition()}{"-gzip" if taken else ""}"'
        headers = {"Cache-Control": "no-cache", "ETag": tag}
    if taken:  # of what leaves unpacked, whatever packs the pages says the same
        headers["Vary"] = "Accept-Encoding"
    if version != edition() and headers["ETag"] in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    if taken and packed is not None:
        content, headers["Content-Encoding"] = packed, "gzip"
    return Response(content, media_type=_TYPES[_sort(name)], headers=headers)


def _sort(name: str) -> str:
    return name.rpartition(".")[2]


def _lean(name: str, content: bytes) -> bytes:
    leaner = _LEANER.get(_sort(name))
    return content if leaner is None else leaner(content.decode()).encode()


@cache
def _packed(name: str) -> bytes | None:
    """A file as gzip (RFC 1952) at its best; None where that gains nothing. The same octets in every process."""
    content = files()[name]
    if len(content) < _PACKED_LEAST or _sort(name) == "png":
        return None
    return gzip.compress(content, 9, mtime=0)
