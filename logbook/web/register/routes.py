"""The Register's pages by which a fleet is kept, in the order in which an address is looked for."""

from __future__ import annotations

from fastapi import APIRouter

from logbook.web.register import importing, machines, overview, people, person, phones_of_site, policy, sites

router = APIRouter()
for _each in (overview, phones_of_site, sites, machines, people, person, policy, importing):
    router.include_router(_each.router)
