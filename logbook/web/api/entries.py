"""What programs report. It goes through the one door, like a text and like a tap.

Promises that entries which were answered are on the disk, that those of one request are saved all or none, and that
the same entry sent again stands in the log once: its `id` is what makes it the same, so no other header is needed.
"""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from logbook.web.api import shapes
from logbook.web.api.asking import WithKey
from logbook.web.api.bodies import Sent, contents
from logbook.web.api.problems import shown
from logbook.web.api.together import Together

router = APIRouter()


@router.post("/entries", response_model=shapes.Receipt, status_code=201,
             responses={200: {"model": shapes.Receipt, "description": "All of them were there already."},
                        **shown(400, 401, 403, 404, 409, 413, 415, 422, 429, 503)},
             openapi_extra=contents(shapes.Posting), operation_id="post_entries",
             summary="Record entries", tags=["entries"])  # fmt: skip
async def post(request: Request, asked: WithKey, sent: Sent) -> Response:
    """Record one to a hundred entries by one reporter. All are saved, or none; answered when they are on the disk.

    Give each entry an `id` when it is first written down, and send it again with the same `id` until it is answered:
    it is kept once. The same `id` with other content is refused, and the entry that has it stands.
    """
    together: Together = request.app.state.together
    return await together.post(asked, sent)
