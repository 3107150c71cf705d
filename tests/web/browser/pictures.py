"""Pictures of every page: `python -m tests.web.browser.pictures FOLDER [NAME...]`. Shows them; judges nothing."""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from logbook.bootstrap import house
from logbook.config import Config
from logbook.web.app import make_app
from logbook.web.settings import WebSettings
from tests.web import terrible
from tests.web.browser.conftest import _SWITCHES, Served
from tests.web.browser.looks import PAGES, STEPS, WIDTHS
from tests.whole.stage import fleet, new_database, stage


def main(folder: Path, names: list[str]) -> None:
    """One PNG a page, width, scheme and language; light in English at every width, dark and Spanish on the phone."""
    with tempfile.TemporaryDirectory() as scratch:
        tables = terrible.fleet()
        one = stage(new_database(Path(scratch)), tables.pop("at"))
        one.apply(fleet(**tables))
        terrible.play(one)
        stands = house(one.program, Config(web=WebSettings(line="+19025550100")))
        served = Served(one, stands, make_app(stands))
        served.up()
        try:
            _take(served, folder, names or list(PAGES))
        finally:
            served.down()
            one.close()


def _take(served: Served, folder: Path, names: list[str]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    mine, _other, code = sorted(served.stage.register.by_code)[:3]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=_SWITCHES)
        for name in names:
            who, where = PAGES[name]
            for width, scheme, language in (
                *((width, "light", "en") for width in WIDTHS), (390, "dark", "en"), (390, "light", "es"),
                (1360, "dark", "es"),
            ):  # fmt: skip
                context = browser.new_context(
                    viewport={"width": width, "height": WIDTHS[width]}, color_scheme=scheme, base_url=served.address
                )
                if who is not None:
                    served.sign_in(context, who)
                page = context.new_page()
                page.goto(where.format(lang=language, code=code, mine=mine, person=served.stage.person("luis")))
                if name in STEPS:
                    STEPS[name](page)
                page.screenshot(path=folder / f"{name}-{language}-{width}-{scheme}.png", full_page=True)
                context.close()
        browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2:])
