"""A wet glove, and a keyboard: the answer is where one looks, what is wrong stands beside its field, and a night whose
clocks are put back is asked about."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import Page, expect

from logbook.domain.instants import MINUTE, Instant, parse, text
from tests.web.browser.conftest import Windows
from tests.web.browser.phones import Serve, arrived, by_the_clock, kept, kinds, opened, rows, signal, tap
from tests.web.browser.test_every_page import _OUTSIDE

SITES = [{"code": "HX", "name": "Harbour Hall", "zone": "America/St_Johns"},
         {"code": "SJ", "name": "North Slip", "zone": "America/Halifax"}]  # fmt: skip


def seen(page: Page, what: str) -> bool:
    """Whether this lies within the window, above the foot."""
    box, foot, height = page.locator(what).bounding_box(), page.locator(".foot").bounding_box(), page.viewport_size
    assert box is not None
    assert foot is not None
    assert height is not None
    return box["y"] >= -1 and box["y"] + box["height"] <= min(foot["y"], height["height"])


def open_all(page: Page, *summaries: str) -> None:
    for each in summaries:
        page.locator("summary", has_text=each).click()


def test_the_answer_is_in_sight_and_the_page_is_todays_again(served: Serve, windows: Windows) -> None:
    """What is told far down was answered out of sight, and the last thing to be taken back was the one before."""
    house = served()
    page = opened(windows.context(house, "ana", width=360, height=640))
    tap(page, "unplug")
    arrived(house, page, ["unplug"])
    house.stage.now += MINUTE
    page.wait_for_timeout(500)
    open_all(page, "Every week", "Watered the battery")
    page.locator(".one[open] label", has_text="1.5").click()
    page.get_by_role("button", name="Save: Watered the battery").click()
    arrived(house, page, ["unplug", "watering"])
    expect(page.locator("#say .done")).to_contain_text("Saved: battery watered")
    assert seen(page, "#say .done")
    expect(page.locator("#heard")).to_contain_text("Saved: battery watered")
    expect(page.locator(".back small")).to_contain_text("battery watered")
    assert page.locator("#acts details[open]").count() == 0
    page.wait_for_timeout(500)
    page.locator(".back").click()
    arrived(house, page, ["unplug", "watering", "void"])
    expect(page.locator("#say .done")).to_contain_text("Taken back: battery watered")


def test_what_is_wrong_stands_beside_its_field(served: Serve, windows: Windows) -> None:
    house = served()
    page = opened(windows.context(house, "ana", width=360, height=640), worker=False)
    open_all(page, "Every week", "Measured the segments")
    page.get_by_role("button", name="Save: Measured the segments").click()
    wrong = page.locator(".one[open] [role=alert]")
    expect(wrong).to_be_visible()
    assert seen(page, ".one[open] [role=alert]")
    assert page.evaluate("document.activeElement.name") == "segments.left_um"
    expect(page.locator("[aria-invalid=true]")).to_have_count(1)
    page.get_by_label("Or write it in mm").fill("9.5")
    page.wait_for_timeout(300)
    page.get_by_role("button", name="Save: Measured the segments").click()
    arrived(house, page, ["segments"])
    expect(page.locator("[role=alert], [aria-invalid]")).to_have_count(0)


def test_by_the_keyboard_one_goes_on_from_the_answer(served: Serve, windows: Windows) -> None:
    house = served()
    page = opened(windows.context(house, "ana"), worker=False)
    page.locator(".big").focus()
    page.keyboard.press("Enter")
    arrived(house, page, ["start"])
    expect(page.locator("#say .done")).to_be_focused()
    page.keyboard.press("Tab")
    expect(page.locator(".back")).to_be_focused()
    page.locator("summary", has_text="Every week").focus()
    page.keyboard.press("Space")
    expect(page.locator("details", has_text="Every week").first).to_have_attribute("open", "")
    house.stage.now += MINUTE
    page.locator(".two button").last.focus()
    foot = page.locator(".foot").bounding_box()
    assert foot is not None
    for _ in range(12):
        page.keyboard.press("Tab")
        box = page.evaluate(
            "(e => e.closest('.foot, body:not(.phone)') ? 0 : e.getBoundingClientRect().bottom)(document.activeElement)"
        )
        if page.evaluate("document.activeElement === document.body"):
            break
        assert box <= foot["y"], page.evaluate("document.activeElement.outerHTML.slice(0, 80)")


def test_trouble_is_sent_before_its_photograph_is_drawn(served: Serve, windows: Windows) -> None:
    house = served()
    context = windows.context(house, "ana")
    context.add_init_script("globalThis.createImageBitmap = () => new Promise(() => 0)")
    page = opened(context, worker=False)
    open_all(page, "Something is wrong")
    page.locator("label", has_text="It leaks").click()
    page.locator("input[type=file]").set_input_files({"name": "a.jpg", "mimeType": "image/jpeg", "buffer": b"slow"})
    tap(page, "fault")
    arrived(house, page, ["fault"])


def test_what_waits_here_is_taken_back_first_and_named(served: Serve, windows: Windows) -> None:
    house = served()
    page = opened(windows.context(house, "ana"))
    tap(page, "unplug")
    arrived(house, page, ["unplug"])
    expect(page.locator(".back small")).to_contain_text("taken off charge")
    page.wait_for_timeout(500)
    page.context.set_offline(True)
    tap(page, "charge")
    kept(page, 1)
    expect(page.locator(".back small")).to_contain_text("Plugged in to charge")
    page.locator(".back").click()
    expect(page.locator("#say .done")).to_have_text("Taken back: Plugged in to charge.")
    signal(page)

    page.wait_for_timeout(500)
    assert [kind for kind in kinds(house) if kind != "void"][:1] == ["unplug"]
    struck = len([kind for kind in kinds(house) if kind == "void"])
    assert len(kinds(house)) == 1 + 2 * struck  # not sent at all, or sent and struck


def test_what_was_taken_back_from_the_queue_is_not_said_to_be_kept(served: Serve, windows: Windows) -> None:
    house = served()
    page = opened(windows.context(house, "ana"))
    page.context.set_offline(True)
    tap(page, "charge")
    kept(page, 1)
    expect(page.locator("#say .done")).to_have_text("Kept here: Plugged in to charge.")
    page.locator("#kept li button").click()
    expect(page.locator("#say .done")).to_have_text("Taken back: Plugged in to charge.")
    assert kinds(house) == []


# ------------------------------------------------------------------------------------------------ when it happened


def at(windows: Windows, served: Serve, now: str, said: str, which: str = "") -> tuple[list[Instant], str]:
    """Tell a filling `at` this time of a Halifax night: when it happened, by the log; and what the page says."""
    house = served(at=parse(now))
    context = windows.context(house, "ana", timezone_id="Europe/Lisbon")
    context.clock.install(time=datetime.fromisoformat(now).astimezone(UTC))
    page = opened(context, worker=False)
    open_all(page, "It happened earlier")
    page.locator("[name=at]").fill(said)
    if which:
        page.locator("label", has_text=which).click()
    tap(page, "fill")
    page.clock.run_for(2_000)
    page.wait_for_timeout(600)
    found = [row.occurred_at for row in rows(house)]
    return found, page.locator(".done, [role=alert]").first.inner_text()


@pytest.mark.parametrize(
    ("now", "said", "which", "meant"),
    [
        ("2026-11-01T09:00:00+00:00", "01:30", "the first", "2026-11-01T04:30"),
        ("2026-11-01T09:00:00+00:00", "01:30", "the second", "2026-11-01T05:30"),
        ("2026-11-01T09:00:00+00:00", "23:30", "", "2026-11-01T02:30"),
        ("2026-03-03T09:00:00+00:00", "04:40", "", "2026-03-03T08:40"),
    ],
)
def test_the_sites_wall_clock_is_meant(
    served: Serve, windows: Windows, now: str, said: str, which: str, meant: str
) -> None:  # fmt: skip
    found, _page = at(windows, served, now, said, which)
    assert [text(each + 30 * 1_000_000)[:16] for each in found] == [meant]


@pytest.mark.parametrize(
    ("now", "said", "sentence"),
    [
        ("2026-11-01T09:00:00+00:00", "01:30", "Choose the first or the second."),
        ("2026-03-08T09:00:00+00:00", "02:30", "there was no such time that night"),
        ("2026-03-03T09:00:00+00:00", "12:00", "more than 14 hours ago"),
    ],
)
def test_a_time_that_came_twice_or_never_is_asked_about_on_the_phone(
    served: Serve, windows: Windows, now: str, said: str, sentence: str
) -> None:  # fmt: skip
    found, shown = at(windows, served, now, said)
    assert found == []
    assert sentence in shown


def test_a_text_says_the_sites_time_whatever_zone_the_phone_is_in(served: Serve, windows: Windows) -> None:
    house = served(site=SITES)
    by_the_clock(house)
    page = opened(windows.context(house, "ana", timezone_id="Europe/Lisbon"))
    page.context.set_offline(True)
    tap(page, "charge")
    kept(page, 1)
    there = datetime.fromtimestamp(house.stage.now / 1e6, UTC)

    minute = there.astimezone(ZoneInfo("America/St_Johns")).strftime("%M")
    href = page.locator("#state a").get_attribute("href") or ""
    before = f"{(int(minute) + 1) % 60:02}"  # the minute may turn meanwhile
    digits = href.rpartition("body=")[2].partition("%20%23")[0]
    assert digits.rstrip("apm").endswith((minute, before)), href


def test_with_all_of_it_open_and_its_text_doubled_nothing_runs_out_of_a_narrow_window(
    served: Serve, windows: Windows
) -> None:  # fmt: skip
    name = "Northumberland Crossings Intermodal Terminal, international arrivals concourse (level 2)"
    machine = {"code": "B7H", "site": "HX", "battery": "flooded", "commissioned_at": "2026-03-01T12:00:00Z",
               "segments": {"part": "D-30", "heads": 5, "new_um": 12_000}}  # fmt: skip
    house = served(site=[{**SITES[0], "name": name}, SITES[1]], machine=[machine])
    house.stage.tell("B7H", "start")
    for language in ("en", "es"):
        page = windows.page(house, "ana", width=320, height=640)
        page.goto(f"/{language}/m/B7H")
        page.evaluate(
            "document.documentElement.style.fontSize = '200%';"
            "for (const each of document.querySelectorAll('details')) each.open = true"
        )
        assert page.evaluate(_OUTSIDE) == []
