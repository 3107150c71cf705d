"""Passkeys signed for another house, twice, or by a copy; and programs' keys that reach for more than they were given."""

from __future__ import annotations

import hashlib
import json
import struct
from base64 import urlsafe_b64encode
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import cbor2
import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256

from logbook.domain.instants import MINUTE
from logbook.store import passkeys
from logbook.web.who.visitor import cookie_name
from tests.web.conftest import ADDRESS, Pages
from tests.web.test_api import Asking, entry, posting
from tests.web.test_intruder import rows

HOST = "log.ferry.example"


def b64(octets: bytes) -> str:
    return urlsafe_b64encode(octets).rstrip(b"=").decode()


@dataclass
class Device:
    """An authenticator in a dozen lines (Web Authentication, level 2, 6.1): one key, and a counter."""

    key: ec.EllipticCurvePrivateKey = field(default_factory=lambda: ec.generate_private_key(ec.SECP256R1()))
    id: bytes = b"a passkey of a test"
    count: int = 1

    def client(self, kind: str, challenge: str, origin: str) -> bytes:
        return json.dumps({"type": kind, "challenge": challenge, "origin": origin, "crossOrigin": False}).encode()

    def data(self, host: str, flags: int) -> bytes:
        return hashlib.sha256(host.encode()).digest() + bytes([flags]) + struct.pack(">I", self.count)

    def made(self, challenge: str, *, host: str = HOST, origin: str = ADDRESS, flags: int = 0x45) -> str:
        at = self.key.public_key().public_numbers()
        public = cbor2.dumps({1: 2, 3: -7, -1: 1, -2: at.x.to_bytes(32, "big"), -3: at.y.to_bytes(32, "big")})
        data = self.data(host, flags) + bytes(16) + struct.pack(">H", len(self.id)) + self.id + public
        said = cbor2.dumps({"fmt": "none", "attStmt": {}, "authData": data})
        client = self.client("webauthn.create", challenge, origin)
        return json.dumps({"id": b64(self.id), "rawId": b64(self.id), "type": "public-key",
                           "response": {"clientDataJSON": b64(client), "attestationObject": b64(said)}})  # fmt: skip

    def signed(self, challenge: str, *, host: str = HOST, origin: str = ADDRESS, flags: int = 0x05,
               kind: str = "webauthn.get", handle: str = "", by: ec.EllipticCurvePrivateKey | None = None) -> str:  # fmt: skip
        self.count += 1
        data, client = self.data(host, flags), self.client(kind, challenge, origin)
        proof = (by or self.key).sign(data + hashlib.sha256(client).digest(), ec.ECDSA(SHA256()))
        return json.dumps({"id": b64(self.id), "rawId": b64(self.id), "type": "public-key", "response": {
            "clientDataJSON": b64(client), "authenticatorData": b64(data), "signature": b64(proof),
            "userHandle": b64(handle.encode()) if handle else None}})  # fmt: skip


@dataclass
class Keyed:
    """Lee, who has a passkey."""

    pages: Pages
    device: Device

    def asked(self) -> tuple[str, str]:
        said = self.pages.client().post("/en/sign-in/asked").json()
        return said["asked"], said["publicKey"]["challenge"]

    def answer(self, asked: str, said: str) -> Any:
        return self.pages.client().post("/en/sign-in/passkey", data={"asked": asked, "credential": said})


def registered(one: Pages, device: Device, key: str = "lee", **how: Any) -> int:
    browser = one.client(key)
    asked = one.post(browser, "/en/me/passkeys/asked").json()
    said = device.made(asked["publicKey"]["challenge"], **how)
    return int(one.post(browser, "/en/me/passkeys", asked=asked["asked"], credential=said).status_code)


@pytest.fixture
def keyed(pages: Callable[..., Pages]) -> Keyed:
    one, device = pages(), Device()
    assert registered(one, device) == 200
    return Keyed(one, device)


def test_a_passkey_signs_in_its_own_person_whatever_it_says_of_whose_it_is(keyed: Keyed) -> None:
    asked, challenge = keyed.asked()
    answer = keyed.answer(asked, keyed.device.signed(challenge, handle=keyed.pages.stage.person("own")))
    if answer.status_code == 200:
        assert answer.json()["to"] == "/en/tonight"
        browser = keyed.pages.client()
        browser.cookies.set(cookie_name(keyed.pages.house), answer.cookies[cookie_name(keyed.pages.house)])
        assert "Lee Shaw" in browser.get("/en/me").text
    asked, challenge = keyed.asked()
    assert (
        keyed.answer(asked, keyed.device.signed(challenge, handle=keyed.pages.stage.person("lee"))).status_code == 200
    )


@pytest.mark.parametrize(
    "how",
    [
        {"origin": "https://evil.example"}, {"origin": "http://log.ferry.example"}, {"origin": ADDRESS + ":8443"}, {"origin": "null"},
        {"host": "ferry.example"}, {"host": "evil.example"}, {"flags": 0x01}, {"flags": 0x04}, {"flags": 0}, {"kind": "webauthn.create"},
        {"by": ec.generate_private_key(ec.SECP256R1())},
    ],
)  # fmt: skip
def test_a_passkey_that_signed_for_another_house_or_without_its_holder(keyed: Keyed, how: dict[str, Any]) -> None:
    asked, challenge = keyed.asked()
    before = rows(keyed.pages)
    answer = keyed.answer(asked, keyed.device.signed(challenge, **how))
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers
    assert rows(keyed.pages) == before


def test_a_challenge_answered_twice_late_or_by_another_ones_answer(keyed: Keyed) -> None:
    asked, challenge = keyed.asked()
    said = keyed.device.signed(challenge)
    assert keyed.answer(asked, said).status_code == 200
    before = rows(keyed.pages)
    assert keyed.answer(asked, said).status_code == 403  # replayed
    other, _challenge = keyed.asked()
    assert keyed.answer(other, keyed.device.signed(challenge)).status_code == 403
    late, challenge = keyed.asked()
    keyed.pages.stage.now += 6 * MINUTE
    assert keyed.answer(late, keyed.device.signed(challenge)).status_code == 403
    lee = keyed.pages.client("lee")
    mine = keyed.pages.post(
        lee, "/en/me/passkeys/asked"
    ).json()  # one that was asked for to make a key is none to sign in
    assert keyed.answer(mine["asked"], keyed.device.signed(mine["publicKey"]["challenge"])).status_code == 403
    assert rows(keyed.pages)["session"] == before["session"] + 1  # lee's own, for the asking


def test_a_copy_of_a_passkey_whose_counter_was_seen(keyed: Keyed) -> None:
    copy = Device(keyed.device.key, count=keyed.device.count)
    for _ in range(3):
        asked, challenge = keyed.asked()
        assert keyed.answer(asked, keyed.device.signed(challenge)).status_code == 200
    before = rows(keyed.pages)
    asked, challenge = keyed.asked()
    assert keyed.answer(asked, copy.signed(challenge)).status_code == 403
    assert rows(keyed.pages) == before


def test_a_passkey_made_for_another_house_without_its_holder_or_twice(keyed: Keyed) -> None:
    before = rows(keyed.pages, "passkey")
    for how in ({"host": "evil.example"}, {"origin": "https://evil.example"}, {"flags": 0x41}):
        assert registered(keyed.pages, Device(id=b"another"), **how) == 422
    assert registered(keyed.pages, keyed.device) == 422  # its id stands there already
    assert registered(keyed.pages, Device(id=keyed.device.id), key="own") == 422  # and is not taken over
    assert rows(keyed.pages, "passkey") == before
    assert keyed.pages.stage.read(lambda c: passkeys.of(c, b64(keyed.device.id))).person == keyed.pages.stage.person(
        "lee"
    )


def test_a_key_names_nobody_and_reaches_nothing_beyond_its_own(pages: Callable[..., Pages]) -> None:
    one = pages()
    asking, before = Asking(one), rows(one)
    post, read = asking.key("post", sites=("HX",)), asking.key("read", sites=("HX",))
    for body in (
        posting(entry(), reporter="own"), posting(entry(), reporter="lee"), posting(entry(), reporter="kim"),
        posting(entry(), reporter=one.stage.person("ana")), posting(entry(), reporter=None), posting(entry("B8F")),
        posting(entry(), entry("B8F")), posting(entry(kind="void", entry=one.stage.ids())), posting(entry(kind="seal")),
        posting(entry(kind="name_opened", entry=one.stage.ids())), {**posting(entry()), "role": "owner"},
        {**posting(entry()), "channel": "form"}, posting({**entry(), "recorded_at": "2020-01-01T00:00:00Z"}),
        posting({**entry(), "reporter": "own"}), posting(entry(told="card", reporter="own")),
        posting({**entry(), "seq": 1, "prev": "0" * 64}),
    ):  # fmt: skip
        assert 400 <= asking.post("/entries", post, body).status_code < 500, body
        assert asking.post("/entries", read, body).status_code == 403
    for path in ("/machines/B8F", "/machines/B8F/entries", "/machines/B8F/alerts", "/machines?site=SJ", "/due?site=SJ", "/policy?site=SJ",
                 "/policy?machine=B8F", "/machines/../machines/B8F", "/machines/B7H%00", "/machines/%2e%2e"):  # fmt: skip
        assert asking.get(path, read).status_code in (404, 422), path
        assert asking.get(path, post).status_code in (403, 404, 422), path
    said = asking.get("/machines", read).text + asking.get("/due", read).text + asking.get("/alerts", read).text
    assert "B8F" not in said
    assert "SJ" not in said
    now = rows(one)
    assert {**now, "api_key": 0} == {**before, "api_key": 0}


@pytest.mark.parametrize("token", ["", "x", "x" * 5_000, "é", "' OR 1=1 --", "%00", "Bearer", "\t"])
def test_a_key_made_up(pages: Callable[..., Pages], token: str) -> None:
    one = pages()
    asking, before = Asking(one), rows(one)
    for scheme in ("Bearer", "bearer", "Basic", "Token", ""):
        head = f"{scheme} {token}".encode()
        for method, path in (("GET", "/machines"), ("POST", "/entries")):
            answer = asking.client.request(method, f"/api/v1{path}", headers={"authorization": head})  # type: ignore[dict-item]
            assert answer.status_code == 401
    assert rows(one) == before


def test_without_an_address_of_its_own_the_house_believes_no_host(make: Callable[..., Any]) -> None:
    """No `base_address`: nothing is sent out with a host in it, and passkeys are for this machine alone."""
    from logbook.bootstrap import house
    from logbook.config import Config
    from logbook.web.app import make_app

    stage = make()
    stands = house(stage.program, Config())
    one = Pages(stage, stands, make_app(stands))
    browser, evil = (
        one.client(),
        {"host": "evil.example", "origin": "https://evil.example", "x-forwarded-host": "evil.example"},
    )
    assert browser.post("/en/sign-in/mail", data={"reach": "lee@ferry.example"}, headers=evil).status_code == 200
    assert not stage.messages()
    asked = browser.post("/en/sign-in/asked", headers=evil).json()
    assert asked["publicKey"]["rpId"] == "localhost"
    device, before = Device(), rows(one)
    said = device.signed(asked["publicKey"]["challenge"], host="evil.example", origin="https://evil.example")
    answer = browser.post("/en/sign-in/passkey", data={"asked": asked["asked"], "credential": said}, headers=evil)
    assert answer.status_code == 403
    assert rows(one) == before
    for path in ("/", "/en/me", "/m/B7H"):
        assert "evil" not in browser.get(path, headers=evil).headers["location"]
    for each in one.opened:
        each.close()


def test_the_service_worker_keeps_machines_pages_and_nothing_else_of_a_person(pages: Callable[..., Pages]) -> None:
    script = pages().client().get("/sw.js").text
    assert 'const PAGES = "pages"' in script
    kept = [line for line in script.splitlines() if ".put(" in line or ".addAll(" in line]
    assert len(kept) == 4, kept  # our own files, a machine's page, and twice the language it was read in
    for room in ("enter", "join", "tonight", "history", "register", "keeper", "/me"):
        assert room not in script
