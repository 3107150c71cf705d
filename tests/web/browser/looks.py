"""Every page, for those who look at them all: who opens it, and where. `{code}` is the machine with most to show,
`{mine}` the cleaner's own."""

from __future__ import annotations

PAGES: dict[str, tuple[str | None, str]] = {
    "sign-in": (None, "/{lang}/sign-in"),
    "join": (None, "/{lang}/join/{mine}"),
    "phone": ("ana", "/{lang}/m/{mine}"),
    "machines": ("ana", "/{lang}/machines"),
    "me": ("ana", "/{lang}/me"),
    "tonight": ("lee", "/{lang}/tonight"),
    "histories": ("lee", "/{lang}/history"),
    "history": ("lee", "/{lang}/history/{code}"),
    "register": ("own", "/{lang}/register"),
    "keeper": ("kay", "/{lang}/keeper"),
    "plates": ("lee", "/{lang}/register/plates"),
    "training": ("own", "/{lang}/register/retraining"),
    "nothing": ("lee", "/{lang}/nothing-here"),
}
"""By a short name: the person's key in `tests.web.terrible` (None: nobody), and the address."""

WIDTHS = {320: 640, 390: 844, 1360: 900}
"""Widths of a window and their heights, px."""
