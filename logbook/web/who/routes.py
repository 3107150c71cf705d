"""The ways in, put together."""

from __future__ import annotations

from fastapi import APIRouter

from logbook.web.who import enter, join, me, sign_in

router = APIRouter()
for each in (enter, join, sign_in, me):
    router.include_router(each.router)
