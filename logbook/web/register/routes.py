"""The Register's pages by which a fleet is kept, in the order in which an address is looked for."""

from __future__ import annotations

from fastapi import APIRouter

from logbook.web.register import (
    importing,
    machine,
    machine_fit,
    machines,
    number,
    overview,
    people,
    person,
    phones_of_site,
    policy,
    sites,
)

router = APIRouter()
# What has a word in a place where others have a code goes first: machines/new before machines/{code}.
for _each in (
    overview, phones_of_site, sites, machines, machine_fit, machine, people, person, policy, number, importing,
):  # fmt: skip
    router.include_router(_each.router)
