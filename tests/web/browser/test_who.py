"""Signing in, in a real browser: by passkey with its own authenticator, by link, by PIN; no script where none runs."""

from __future__ import annotations

from collections.abc import Callable

from logbook.store import passkeys, pins, sessions
from logbook.web.who import links
from logbook.web.who.pin import hashed
from tests.web.browser.conftest import Served, Windows


def test_a_passkey_is_made_and_signs_in_without_a_name(served: Callable[..., Served], windows: Windows) -> None:
    house = served()
    page = windows.page(house, "lee")
    device = page.context.new_cdp_session(page)
    device.send("WebAuthn.enable")
    options = {"protocol": "ctap2", "transport": "internal", "hasResidentKey": True, "hasUserVerification": True,
               "isUserVerified": True, "automaticPresenceSimulation": True}  # fmt: skip
    made = device.send("WebAuthn.addVirtualAuthenticator", {"options": options})["authenticatorId"]
    page.goto("/en/me")
    page.get_by_role("button", name="Make a passkey here").click()
    page.get_by_text("The passkey is set").wait_for()
    lee = house.stage.person("lee")
    (kept,) = house.stage.read(lambda c: passkeys.of_person(c, lee))
    page.get_by_role("button", name="Sign out here").click()
    page.wait_for_url("**/en/sign-in")
    page.goto("/en/tonight")
    page.wait_for_url("**/en/sign-in?next=/en/tonight")
    page.get_by_role("button", name="Sign in by passkey").click()
    page.wait_for_url(f"{house.address}/en/tonight")
    rows = house.stage.read(lambda c: sessions.of_person(c, lee))
    assert [row.kind for row in rows if row.lives(house.stage.now)] == ["passkey"]
    (used,) = house.stage.read(lambda c: passkeys.of_person(c, lee))
    assert used.sign_count > kept.sign_count

    # Whoever is not recognised by the device gets nothing; nor does one whose passkey was taken away.
    device.send("WebAuthn.setUserVerified", {"authenticatorId": made, "isUserVerified": False})
    page.context.clear_cookies()
    page.goto("/en/sign-in")
    page.get_by_role("button", name="Sign in by passkey").click()
    page.get_by_text("did not open anything").wait_for()
    device.send("WebAuthn.setUserVerified", {"authenticatorId": made, "isUserVerified": True})
    house.house.store.write(lambda c: passkeys.drop(c, used.id, lee))
    page.get_by_role("button", name="Sign in by passkey").click()
    page.locator("#passkey .wrong").wait_for(state="visible")
    assert page.url.endswith("/en/sign-in")


def test_a_copied_passkey_and_a_challenge_used_twice_open_nothing(
    served: Callable[..., Served], windows: Windows
) -> None:
    house = served()
    page = windows.page(house, "lee")
    device = page.context.new_cdp_session(page)
    device.send("WebAuthn.enable")
    options = {"protocol": "ctap2", "transport": "internal", "hasResidentKey": True, "hasUserVerification": True,
               "isUserVerified": True, "automaticPresenceSimulation": True}  # fmt: skip
    device.send("WebAuthn.addVirtualAuthenticator", {"options": options})
    page.goto("/en/me")
    page.get_by_role("button", name="Make a passkey here").click()
    page.get_by_text("The passkey is set").wait_for()
    page.context.clear_cookies()
    page.goto("/en/sign-in")
    with page.expect_request("**/en/sign-in/passkey") as sent:
        page.get_by_role("button", name="Sign in by passkey").click()
    page.wait_for_url(f"{house.address}/en/tonight")
    body, headers = sent.value.post_data or "", {"content-type": "application/x-www-form-urlencoded"}
    page.context.clear_cookies()
    page.goto("/en/sign-in")
    again = page.evaluate(
        "async ([body, headers]) => (await fetch('/en/sign-in/passkey', {method: 'POST', body, headers})).status",
        [body, headers],
    )
    assert again == 403
    # Somebody has counted on with a copy: the counter that comes now was seen before.
    lee = house.stage.person("lee")
    (key,) = house.stage.read(lambda c: passkeys.of_person(c, lee))
    house.house.store.write(lambda c: passkeys.used(c, key.id, key.sign_count + 1_000, house.stage.now))
    page.get_by_role("button", name="Sign in by passkey").click()
    page.get_by_text("did not open anything").wait_for()


def test_a_shared_phone_changes_hands_without_a_script(served: Callable[..., Served], windows: Windows) -> None:
    house = served()
    mine = hashed("8305")
    house.house.store.write(lambda c: pins.put(c, house.stage.person("ana"), mine, 1))
    page = windows.page(house, java_script_enabled=False)
    page.goto(links.offer(house.house, None, site="HX", purpose="shared"))
    page.get_by_role("button", name="Make this the shared phone").click()
    page.goto("/en/m/B7H")
    assert "/en/join/B7H" in page.url
    page.get_by_label("Ana").check()
    page.get_by_label("Your PIN").fill("8305")
    page.get_by_role("button", name="It is me").click()
    assert page.url.endswith("/en/m/B7H")
    page.get_by_role("link", name="Not you?").click()
    page.get_by_role("button", name="Sign out here").click()
    page.get_by_text("This is the shared phone of North Slip").wait_for()
    assert page.get_by_role("button", name="Sign in by passkey").count() == 0


def test_a_link_and_the_whole_of_joining_by_keyboard_alone(served: Callable[..., Served], windows: Windows) -> None:
    from logbook.intake import PROGRAM, Draft

    house = served()
    fleet = house.stage.read(house.stage.program.registry.fleet)
    word = Draft(house.stage.ids(), fleet, "join_word", {"site": "HX", "word": "gannet"})
    house.stage.program.intake.record([word], PROGRAM)
    page = windows.page(house)
    page.goto("/en/join/B7H")
    page.get_by_label("The word on the plate").focus()
    for said in ("gannet", "Ines Roy", "+1 902 555 0177"):
        page.keyboard.type(said)
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_url("**/en/m/B7H")
    assert house.stage.register.person_by_phone("+19025550177").state == "unconfirmed"
    other = windows.page(house)
    other.goto(links.offer(house.house, None, person=house.stage.person("ana")))
    button = other.get_by_role("button", name="Yes, it is me")
    button.focus()
    other.keyboard.press("Enter")
    other.wait_for_url("**/en/machines")
