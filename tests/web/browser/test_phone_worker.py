"""The worker behind the phone's page: shown at once, refreshed behind, in each language, and nobody's after a leaving."""

from __future__ import annotations

import base64
import io
import re
from urllib.parse import unquote
from zoneinfo import ZoneInfo

from PIL import Image
from playwright.sync_api import BrowserContext, Page, expect

from logbook.channels.desk import Message
from logbook.channels.text import Fleet, read
from logbook.domain.entries.faults import PHOTO_ITEM, PHOTO_MOST
from logbook.domain.instants import HOUR, MINUTE
from logbook.store import words
from tests.web.browser.conftest import Served, Windows
from tests.web.browser.phones import (
    PEOPLE,
    Serve,
    arrived,
    by_the_clock,
    kept,
    kinds,
    opened,
    reporters,
    rows,
    signal,
    tap,
    until,
)  # fmt: skip

KEYS = "[...await Promise.all((await caches.keys()).map(async n => (await (await caches.open(n)).keys()).map(r => new URL(r.url).pathname)))].flat()"
ALL = "(async () => { const keys = KEYS; return keys })()".replace("KEYS", KEYS)
DISK = """(async () => {
  const got = asked => new Promise(done => { asked.onsuccess = () => done(asked.result) });
  const base = await got(indexedDB.open("logbook"));
  const all = name => got(base.transaction(name).objectStore(name).getAll());
  const kept = [];
  for (const name of await caches.keys()) {
    if (name !== "pages") continue;
    for (const each of await (await caches.open(name)).matchAll()) kept.push(await each.text());
  }
  return JSON.stringify([await all("taps"), await all("facts"), kept, Object.entries(localStorage), Object.entries(sessionStorage), document.cookie]);
})()"""

PHOTO = """(async () => {
  const got = asked => new Promise(done => { asked.onsuccess = () => done(asked.result) });
  const told = await got((await got(indexedDB.open("logbook"))).transaction("taps").objectStore("taps").getAll());
  const reader = new FileReader();
  const read = new Promise(done => { reader.onload = () => done(reader.result.split(",")[1]) });
  reader.readAsDataURL(told.find(each => each.blob).blob);
  return read;
})()"""
EVERY_ACT = """async () => {
  const { texts } = await import(document.querySelector("script[type=module]").src.replace("phone.js", "phone-late.js"));
  const kinds = JSON.parse(document.querySelector("#queue").dataset.kinds), now = Date.now();
  const data = { water_ml: 2125, charge_pct: 80, gravity_milli: 1265, meter_s: 4444200, left_um: [9500, 9000] };
  const told = at => Object.entries(kinds).map(([kind, [, field]], n) => ({
    n, code: "B7H", at, back: 0, tap: "23456789A" + "BCDEFGHJKMNPQRSTVWXYZ"[n],
    acts: [{ kind, data: /fault|repaired|note/.test(kind) ? { note: "Bomba rota #3?" } : field ? { [field]: data[field] } : {} }],
  }));
  const hours = [...Array(14).keys()].map(hour => now - 60_000 - hour * 3_600_000);
  return [now, hours.map(at => [at, texts(told(at), kinds).map(each => each.text)]), Object.keys(kinds)];
}"""
"""Now, and at each of the fourteen hours before: texts for an act of every kind, as the phone writes them; the kinds."""


def test_the_page_is_shown_at_once_and_refreshed_behind(served: Serve, windows: Windows) -> None:
    house = served()
    page = opened(windows.context(house, "ana"))
    house.stage.tell("B7H", "charge", who="lee")
    page.reload()
    expect(page.locator("#say")).to_contain_text("Last told: put on charge")
    house.stage.tell("B7H", "unplug", who="lee")
    page.locator("summary", has_text="Something is wrong").click()
    page.locator("textarea[name='fault.note']").fill("The pump")
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    page.wait_for_timeout(300)
    assert page.locator("textarea[name='fault.note']").input_value() == "The pump"  # nothing goes away under a hand


def test_what_is_kept_is_this_page_and_our_own_files_and_nothing_else(served: Serve, windows: Windows) -> None:
    house = served()
    page = opened(windows.context(house, "ana"))
    page.goto("/en/machines")
    page.goto("/en/nowhere")
    page.goto("/en/m/b7h?saved=AAAAAAAAAA")
    tap(page, "rinse")
    expect(page.locator("#say .done")).to_contain_text("Saved")
    found = page.evaluate(ALL)
    assert sorted(path for path in found if not path.startswith("/static/")) == ["/en/m/B7H", "/es/m/B7H", "/language"]
    names = {path.rpartition("/")[2] for path in found if path.startswith("/static/")}
    assert {"phone.js", "phone-queue.js", "phone.css", "base.css"} <= names


def test_everything_works_without_signal_in_the_other_language_too(served: Serve, windows: Windows) -> None:
    house = served()
    page = opened(windows.context(house, "ana"))
    page.context.set_offline(True)
    tap(page, "rinse")
    kept(page, 1)
    page.locator("header a[lang=es]").click()
    expect(page.locator("html")).to_have_attribute("lang", "es")
    expect(page.locator("#state b")).to_have_text("1 guardado aquí")
    tap(page, "charge")
    expect(page.locator("#state b")).to_have_text("2 guardados aquí")
    page.goto("/m/b7h")  # the plate's square code: the language read last
    expect(page.locator("html")).to_have_attribute("lang", "es")
    signal(page)
    expect(page.locator("#state b")).to_have_text("Todo está enviado")
    assert kinds(house) == ["rinse", "charge"]


def test_whoever_leaves_leaves_nothing(served: Serve, windows: Windows) -> None:
    house = served(person=PEOPLE)
    context = windows.context(house, "ana")
    page, other = opened(context), opened(context)
    assert "Ana Silva" in page.evaluate(DISK)
    context.set_offline(True)
    tap(page, "charge")
    tap(page, "unplug")
    kept(page, 2)
    context.set_offline(False)
    page.goto("/en/me")
    page.get_by_role("button", name="Sign out here").click()
    page.wait_for_url("**/en/sign-in")
    other.wait_for_url("**/en/join/B7H")  # what is open elsewhere is not left standing there
    assert "Ana" not in page.evaluate(DISK)
    page.go_back()
    assert "Ana" not in page.content()
    house.sign_in(context, "ben")
    page.goto("/en/m/B7H")
    expect(page.locator("header")).to_contain_text("You are Ben Roy")
    arrived(house, page, ["charge", "unplug"])
    assert reporters(house) == ["ana", "ana"]
    assert "Ana" not in page.content()
    until(page, "(await (await caches.open('pages')).keys()).length == 3")
    assert "Ana" not in page.evaluate(DISK)


def test_a_session_that_is_over_takes_its_page_along(served: Serve, windows: Windows) -> None:
    house = served()
    context = windows.context(house, "ana")
    page = opened(context)
    context.clear_cookies()
    page.reload()
    page.wait_for_url("**/en/join/B7H")
    assert "/en/m/B7H" not in page.evaluate(ALL)


def test_another_editions_address_gives_todays_file(served: Serve, windows: Windows) -> None:
    house = served()
    page = opened(windows.context(house, "ana"))
    page.context.set_offline(True)
    said = page.evaluate("fetch('/static/0123456789ab/phone-queue.js').then(answer => answer.text())")
    assert "export function flush" in said


def test_a_photograph_is_made_small_on_the_phone_and_follows_its_fault(served: Serve, windows: Windows) -> None:
    house = served()
    page = opened(windows.context(house, "ana"))
    large = io.BytesIO()
    exif = Image.Exif()
    exif.get_ifd(0x8825).update({1: "N", 2: (44.0, 38.0, 0.0)})
    Image.effect_noise((1600, 1000), 90).convert("RGB").save(large, "JPEG", exif=exif, quality=90)
    page.context.set_offline(True)
    page.locator("summary", has_text="Something is wrong").click()
    page.locator("label", has_text="It leaks").click()
    page.locator("input[type=file]").set_input_files(
        {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": large.getvalue()}
    )
    tap(page, "fault")
    kept(page, 2)
    sent = base64.b64decode(page.evaluate(PHOTO))
    assert sent[:3] == b"\xff\xd8\xff"
    assert b"Exif" in large.getvalue()
    assert b"Exif" not in sent
    assert len(sent) <= 200_000
    assert max(Image.open(io.BytesIO(sent)).size) <= 1_280
    page.reload()
    kept(page, 2)
    signal(page)
    arrived(house, page, ["fault", "photo"])
    machine, entry = house.stage.machine("B7H"), rows(house)[1].id
    found = house.stage.read(lambda c: [w for w in words.of_entry(c, machine, entry) if w.item == PHOTO_ITEM])
    assert len(found) == 1
    assert len(found[0].content) * 3 // 4 <= PHOTO_MOST


# ------------------------------------------------------------------------------------------------------- as a text


def texted(page: Page, count: int) -> str:
    """What the offered text says, once so many wait."""
    kept(page, count)
    link = page.locator("#state a")
    expect(link).to_have_attribute("href", re.compile(r"^sms:\+19025550100\?&body=B7H"))
    return unquote(str(link.get_attribute("href")).partition("body=")[2])


def text_in(house: Served, said: str) -> str:
    """Take a text from Ana's number."""
    by_the_clock(house)
    answer = house.stage.program.desk.take(Message(house.stage.ids(), "text", "+19025550111", said, house.stage.now))
    return f"{answer.outcome} {answer.reply}"


def without_signal(served: Serve, windows: Windows) -> tuple[Served, Page, str]:
    house = served()
    by_the_clock(house)
    context: BrowserContext = windows.context(house, "ana", timezone_id="America/Halifax")
    page = opened(context)
    context.set_offline(True)
    tap(page, "rinse")
    kept(page, 1)
    tap(page, "charge")
    return house, page, texted(page, 2)


def test_first_the_text_then_the_queue(served: Serve, windows: Windows) -> None:
    house, page, said = without_signal(served, windows)
    assert text_in(house, said).startswith("saved")
    assert kinds(house) == ["rinse", "charge"]
    kept(page, 2)  # the phone cannot know
    signal(page)
    arrived(house, page, ["rinse", "charge"])


def test_first_the_queue_then_the_text(served: Serve, windows: Windows) -> None:
    house, page, said = without_signal(served, windows)
    signal(page)
    arrived(house, page, ["rinse", "charge"])
    assert text_in(house, said).startswith("saved Saved before")
    assert kinds(house) == ["rinse", "charge"]


def test_every_act_of_every_hour_is_told_by_a_text_that_is_read_and_fits(served: Serve, windows: Windows) -> None:
    """Both ways of every act that the page offers: what the phone writes is read as that act, at that minute."""
    house, zone = served(), ZoneInfo("America/Halifax")
    fleet = Fleet(frozenset({"B7H"}), lambda _code: zone, None, "en", zone)
    for language in ("en", "es"):
        page = opened(windows.context(house, "ana", timezone_id=str(zone)), f"/{language}/m/B7H", worker=False)
        now, hours, expected = page.evaluate(EVERY_ACT)
        for at, texts in hours:
            readings = [read(text, fleet, now * 1_000) for text in texts]
            assert [r.refused for r in readings] == [None] * len(readings), texts
            drafts = [draft for reading in readings for draft in reading.drafts]
            assert [draft.kind for draft in drafts] == expected
            assert all(0 <= at * 1_000 - draft.occurred_at < MINUTE for draft in drafts), texts
            assert all(len(text) <= 160 for text in texts)


def test_a_whole_card_is_texted_as_a_whole_card(served: Serve, windows: Windows) -> None:
    house = served()
    by_the_clock(house)
    house.stage.tell("B7H", "start", house.stage.now - 9 * HOUR)
    context = windows.context(house, "ana", timezone_id="America/Halifax")
    page = opened(context)
    context.set_offline(True)
    page.locator("details.card summary").click()
    page.get_by_role("button", name="All of it is done").click()
    said = texted(page, 1)
    assert re.fullmatch(r"B7H all (\d{4}|\d\d:\d\d(am|pm)?) #\w{10}", said)
    assert text_in(house, said).startswith("saved")
    told = ["start", "empty", "rinse", "squeegee", "charge", "put_away"]
    assert kinds(house) == told
    signal(page)
    arrived(house, page, told)
    assert [data for _kind, _at, data in house.stage.entries("B7H")][2:] == [{"told": "card"}] * 5
