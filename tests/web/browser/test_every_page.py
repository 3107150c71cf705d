"""Every page, in both languages and both schemes, at three widths: nothing that WCAG 2.2 AA objects to, nothing that
runs out of the window, no target too small for a thumb."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.web import terrible
from tests.web.browser.conftest import Served, Windows
from tests.web.browser.looks import PAGES, STEPS, WIDTHS

RULES = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
}

RULED = {("en", 1360, "light"), ("en", 390, "dark"), ("es", 390, "light"), ("es", 320, "dark")}
"""Where the rules are run: each scheme, each layout, each language; the widths are measured in all of them."""

# What sticks out to the right of the window, by the places of its boxes; what scrolls in a frame of its own may.
_OUTSIDE = """() => {
  const most = document.documentElement.clientWidth + 1, found = [];
  for (const each of document.body.querySelectorAll('*')) {
    const box = each.getBoundingClientRect();
    if (box.width && box.right > most && !each.closest('.scrolls, .vh, .skip')) found.push(each.outerHTML.slice(0, 120));
  }
  return document.documentElement.scrollWidth > most ? found : [];
}"""
# WCAG 2.2 asks for 24 px, a glove for 44. A link inside a sentence may be as high as its line.
_SMALL = """() => {
  const found = [];
  for (const each of document.querySelectorAll('a, button, summary, select, input:not([type=hidden])')) {
    if (each.closest('.skip') || each.matches('p a, li p a, td a:not(.plate), .prose a')) continue;
    const label = each.matches('input[type=checkbox], input[type=radio]') && each.closest('label');
    const box = (label || each).getBoundingClientRect();
    if (box.width && box.height && (box.height < 43.5 || box.width < 43.5)) found.push(each.outerHTML.slice(0, 160));
  }
  return found;
}"""


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """One terrible night for all."""
    from logbook.bootstrap import house
    from logbook.config import Config
    from logbook.web.app import make_app
    from logbook.web.settings import WebSettings
    from tests.whole.stage import fleet, new_database, stage

    tables = terrible.fleet()
    one = stage(new_database(tmp_path_factory.mktemp("night")), tables.pop("at"))
    one.apply(fleet(**tables))
    terrible.play(one)
    stands = house(one.program, Config(web=WebSettings(line="+19025550100")))
    served = Served(one, stands, make_app(stands))
    served.up()
    yield served
    served.down()
    one.close()


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("name", PAGES)
def test_a_page_can_be_read_and_used_by_anybody(night: Served, windows: Windows, name: str, language: str) -> None:
    who, where = PAGES[name]
    mine, _other, code = sorted(night.stage.register.by_code)[:3]
    page = windows.page(night, who, locale=language)
    answer = page.goto(where.format(lang=language, code=code, mine=mine, person=night.stage.person("luis")))
    assert answer is not None
    assert answer.status == (404 if name == "nothing" else 200)
    if name in STEPS:
        STEPS[name](page)
    # A link opens in the language of the person it is for.
    assert page.locator("html").get_attribute("lang") == ("es" if name == "enter" else language)
    found = []
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        for width, height in WIDTHS.items():
            page.set_viewport_size({"width": width, "height": height})
            found += [f"{width} {scheme}: sticks out: {each}" for each in page.evaluate(_OUTSIDE)]
            found += [f"{width} {scheme}: small: {each}" for each in page.evaluate(_SMALL)]
            if (language, width, scheme) in RULED:
                said = Axe().run(page, options=RULES).response["violations"]
                found += [
                    f"{width} {scheme}: {each['id']}: {node['html'][:160]}" for each in said for node in each["nodes"]
                ]
    assert sorted(set(found)) == []


@pytest.mark.parametrize("name", PAGES)
def test_a_page_with_its_text_doubled_stays_in_a_narrow_window(night: Served, windows: Windows, name: str) -> None:
    """WCAG 2.2, 1.4.4 and 1.4.10: text at 200 %, 320 CSS px wide, nothing lost to the right."""
    who, where = PAGES[name]
    page = windows.page(night, who, width=320, height=640)
    mine, _other, code = sorted(night.stage.register.by_code)[:3]
    page.goto(where.format(lang="es", code=code, mine=mine, person=night.stage.person("luis")))
    if name in STEPS:
        STEPS[name](page)
    page.evaluate("document.documentElement.style.fontSize = '200%'")
    assert page.evaluate(_OUTSIDE) == []
