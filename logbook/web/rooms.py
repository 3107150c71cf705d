"""The rooms of the house of pages, in the order in which an address is looked for."""

from __future__ import annotations

from fastapi import APIRouter

from logbook.web.history import routes as history
from logbook.web.keeper import routes as keeper
from logbook.web.phone import offline, taps
from logbook.web.phone import routes as phone
from logbook.web.register import erasing, keys, plates, retraining
from logbook.web.register import routes as register
from logbook.web.tonight import routes as tonight
from logbook.web.who import routes as who


def routers() -> list[APIRouter]:
    """Every room's router."""
    return [
        who.router,
        tonight.router, history.router, plates.router, erasing.router, keys.router, keeper.router, retraining.router, register.router,
        offline.router, taps.router, phone.router,
    ]  # fmt: skip
