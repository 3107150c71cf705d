"""Styles, scripts and pictures: files of ours in `static/`, under addresses that name their content.

Promises that what is kept by a browser under an address never changes; and that nothing outside `static/` is served.
"""

from __future__ import annotations

import hashlib
from functools import cache
from importlib import resources

from fastapi import APIRouter, Response

FOREVER = "public, max-age=31536000, immutable"
_TYPES = {
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "svg": "image/svg+xml",
    "png": "image/png",
}
router = APIRouter()


@cache
def files() -> dict[str, bytes]:
    """Every file of `static/`, by name."""
    room = resources.files("logbook.web").joinpath("static")
    found = ((each.name, each) for each in room.iterdir())
    return {name: each.read_bytes() for name, each in found if name.rpartition(".")[2] in _TYPES}


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
def asset(version: str, name: str) -> Response:
    """A file. An older edition's address gives today's file, but is not to be kept."""
    content = files().get(name)
    if content is None:
        return Response("There is no such file.", 404, media_type="text/plain")
    kept = FOREVER if version == edition() else "no-cache"
    return Response(content, media_type=_TYPES[name.rpartition(".")[2]], headers={"Cache-Control": kept})
