"""The Register's pages by which a fleet is kept, in the order in which an address is looked for."""

from __future__ import annotations

from fastapi import APIRouter

from logbook.web.register import importing, machines, overview, people, policy, sites

router = APIRouter()
for _each in (overview, sites, machines, people, policy, importing):
    router.include_router(_each.router)
