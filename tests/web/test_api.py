"""The interface for other programs, as one asks it: with a key, over HTTP."""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest
from starlette.testclient import TestClient

from logbook.domain.instants import HOUR, MINUTE
from logbook.domain.keyring import SCOPES, Key, token_hash, token_of
from logbook.store import api_keys
from logbook.web.app import make_app
from tests.web.conftest import Pages

ALL = tuple(SCOPES)
T = "2026-03-02T11:00:00Z"


@dataclass
class Asking:
    """A program with keys of its own."""

    pages: Pages
    client: TestClient = field(init=False)

    def __post_init__(self) -> None:
        self.client = TestClient(self.pages.app, base_url="https://log.ferry.example", follow_redirects=False)

    def key(self, *may: str, sites: tuple[str, ...] = (), person: str | None = None) -> str:
        """A new key; answers with its token."""
        house = self.pages.house
        token = token_of(house.draw(32))
        who = None if person is None else self.pages.stage.person(person)
        row = Key(house.intake.new_id(), token_hash(token), "a test's", frozenset(may), sites, who, None, house.now())
        house.store.write(lambda c: api_keys.add(c, row))
        return token

    def get(self, path: str, token: str | None = None, **headers: str) -> Any:
        return self.client.get(f"/api/v1{path}", headers=_with(token, headers))

    def post(self, path: str, token: str | None = None, body: Any = None, **headers: str) -> Any:
        content = body if isinstance(body, bytes) else json.dumps(body).encode()
        return self.client.post(
            f"/api/v1{path}", content=content, headers={"content-type": "application/json", **_with(token, headers)}
        )

    def seqs(self, code: str) -> int:
        return len(self.pages.stage.entries(code))


def _with(token: str | None, headers: dict[str, str]) -> dict[str, str]:
    said = {name.replace("_", "-"): value for name, value in headers.items()}
    return said if token is None else {"authorization": f"Bearer {token}", **said}


def entry(machine: str = "B7H", kind: str = "rinse", id: str | None = None, **data: Any) -> dict[str, Any]:
    return {"id": id or str(uuid.uuid4()), "machine": machine, "kind": kind, "data": data}


def posting(*entries: dict[str, Any], reporter: str | None = "ana") -> dict[str, Any]:
    return {"entries": list(entries), **({} if reporter is None else {"reporter": reporter})}


def is_problem(answer: Any, status: int, sort: str) -> dict[str, Any]:
    """Whether an answer is a problem of this sort; answers with it."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.headers["cache-control"] == "no-store"
    body: dict[str, Any] = answer.json()
    assert (body["type"], body["status"]) == (f"/api/v1/problems/{sort}", status)
    assert body["detail"].endswith(".")
    return body


@pytest.fixture
def asking(pages: Callable[..., Pages]) -> Callable[..., Asking]:
    """`asking(policy={…})`: a logbook's interface."""
    return lambda **changes: Asking(pages(**changes))


# -- who may ------------------------------------------------------------------------------------------------------


def test_without_a_key_nothing_is_told(asking: Callable[..., Asking]) -> None:
    one = asking()
    problem = one.get("/machines")
    is_problem(problem, 401, "no_key")
    assert problem.headers["www-authenticate"] == "Bearer"
    is_problem(one.get("/machines", "mlk_" + "x" * 43), 401, "unknown_key")
    is_problem(one.get("/machines", "x" * 5_000), 401, "unknown_key")
    is_problem(one.get("/machines", authorization="Basic b3duOm93bg=="), 401, "no_key")
    is_problem(one.post("/entries", body=posting(entry())), 401, "no_key")


def test_a_cookie_is_never_looked_at(asking: Callable[..., Asking]) -> None:
    one = asking()
    one.pages.sign_in(one.client, "own")
    assert one.client.get("/").headers["location"] == "/en/tonight"  # the pages know the owner
    is_problem(one.get("/machines"), 401, "no_key")
    is_problem(one.post("/entries", body=posting(entry())), 401, "no_key")
    assert one.seqs("B7H") == 1


def test_a_key_that_was_taken_away_is_nobodys_at_once(asking: Callable[..., Asking]) -> None:
    one = asking()
    token = one.key("read", "post")
    assert one.get("/machines", token).status_code == 200
    store = one.pages.house.store
    key = one.pages.stage.read(lambda c: api_keys.of_hash(c, token_hash(token)))
    assert store.write(lambda c: api_keys.revoke(c, key.id, one.pages.stage.now))
    is_problem(one.get("/machines", token), 401, "unknown_key")
    is_problem(one.post("/entries", token, posting(entry())), 401, "unknown_key")
    assert one.seqs("B7H") == 1


@pytest.mark.parametrize("scope", ALL)
def test_a_key_does_what_it_was_made_for_and_no_more(asking: Callable[..., Asking], scope: str) -> None:
    one = asking()
    token = one.key(scope)
    asked = {
        "read": [one.get(path, token) for path in
                 ("/machines", "/machines/B7H", "/machines/B7H/entries", "/machines/B7H/alerts", "/alerts", "/due", "/policy")],
        "post": [one.post("/entries", token, posting(entry()))],
        "alerts": [one.post("/alerts/1/acknowledge", token, {"id": str(uuid.uuid4()), "reporter": "lee"})],
    }  # fmt: skip
    for needed, answers in asked.items():
        for answer in answers:
            if needed == scope:
                assert answer.status_code != 403, answer.text
            else:
                is_problem(answer, 403, "not_in_scope")
    for path in ("/kinds", "/health"):
        assert one.get(path, token).status_code == 200


def test_another_sites_machine_is_not_there(asking: Callable[..., Asking]) -> None:
    one = asking()
    token = one.key(*ALL, sites=("HX",))
    assert [each["code"] for each in one.get("/machines", token).json()["items"]] == ["B7H"]
    nowhere = is_problem(one.get("/machines/ZZZ", token), 404, "not_there")["detail"].replace("ZZZ", "B8F")
    for path in ("/machines/B8F", "/machines/B8F/entries", "/machines/B8F/alerts", "/policy?machine=B8F"):
        # What is another site's, and what is nowhere, cannot be told apart.
        assert is_problem(one.get(path, token), 404, "not_there")["detail"] == nowhere
    is_problem(one.get("/machines?site=SJ", token), 404, "not_there")
    is_problem(one.get("/policy?site=SJ", token), 404, "not_there")
    wrong = is_problem(one.post("/entries", token, posting(entry(), entry("B8F"))), 404, "not_there")
    assert wrong["errors"][0]["pointer"] == "/entries/1/machine"
    assert (one.seqs("B7H"), one.seqs("B8F")) == (1, 1)
    assert {each["machine"] for each in one.get("/due", token).json()["items"]} <= {"B7H"}


def test_another_sites_alert_is_not_there(asking: Callable[..., Asking]) -> None:
    one = asking()
    one.pages.stage.tell("B8F", "put_away", who="kim")
    one.pages.stage.until(one.pages.stage.now + 2 * HOUR)
    serial = one.pages.stage.alert("B8F", "rinse").serial
    token = one.key(*ALL, sites=("HX",))
    assert one.get("/alerts", token).json()["items"] == []
    sent = {"id": str(uuid.uuid4()), "reporter": "lee"}
    is_problem(one.post(f"/alerts/{serial}/acknowledge", token, sent), 404, "not_there")


def test_who_may_be_named_as_reporter(asking: Callable[..., Asking]) -> None:
    one = asking()
    everywhere, here, lead = one.key("post"), one.key("post", sites=("HX",)), one.key("post", "lead")
    fixed = one.key("post", person="lee")

    def tried(token: str, reporter: str | None, kind: str = "rinse", machine: str = "B7H") -> Any:
        return one.post("/entries", token, posting(entry(machine, kind), reporter=reporter))

    assert tried(here, "ana").status_code == 201
    assert tried(fixed, None, "held").status_code == 201
    assert tried(lead, "lee", "released").status_code == 201
    for token, name in ((everywhere, None), (everywhere, "nobody"), (everywhere, "lee"), (here, "kim"), (fixed, "ana")):
        assert is_problem(tried(token, name), 422, "unknown_reporter")["errors"][0]["pointer"] == "/reporter"
    is_problem(tried(everywhere, "ana", machine="B8F"), 403, "not_allowed")  # her site is the other one
    is_problem(tried(everywhere, "ana", "held"), 403, "not_allowed")  # not for a cleaner to say
    assert [kind for kind, _at, _data in one.pages.stage.entries("B7H")] == [
        "commissioned",
        "rinse",
        "held",
        "released",
    ]


# -- reporting ----------------------------------------------------------------------------------------------------


def test_what_was_answered_stands_there_once(asking: Callable[..., Asking]) -> None:
    one = asking()
    token = one.key("post")
    sent = posting(entry(kind="start"), entry(kind="put_away", charge_pct=64))
    first = one.post("/entries", token, sent)
    assert (first.status_code, first.headers["cache-control"]) == (201, "no-store")
    again = one.post("/entries", token, sent)
    assert again.status_code == 200
    assert [each["repeated"] for each in again.json()["entries"]] == [True, True]
    assert [each["seq"] for each in again.json()["entries"]] == [each["seq"] for each in first.json()["entries"]]
    more = one.post("/entries", token, posting(*sent["entries"], entry()))
    assert more.status_code == 201
    assert [each["repeated"] for each in more.json()["entries"]] == [True, True, False]
    assert one.seqs("B7H") == 4
    assert "charge" in [each["duty"] for each in more.json()["owed"]["B7H"]]
    said = one.pages.stage.read(lambda c: c.exec_driver_sql("select bytes from entry where kind = 'rinse'").scalar())
    assert (json.loads(said)["channel"], json.loads(said)["role"]) == ("api", "cleaner")


def test_the_same_id_with_other_content_is_refused_and_nothing_with_it_is_saved(asking: Callable[..., Asking]) -> None:
    one = asking()
    token, id_ = one.key("post"), str(uuid.uuid4())
    assert one.post("/entries", token, posting(entry(id=id_))).status_code == 201
    is_problem(
        one.post("/entries", token, posting(entry(kind="start"), entry(kind="charge", id=id_))), 409, "id_reused"
    )
    assert one.seqs("B7H") == 2


@pytest.mark.parametrize(
    ("changed", "pointer"),
    [
        ({"data": {"charge_pct": 101}}, "/entries/1/data/charge_pct"),
        ({"data": {"charge_pct": "64"}}, "/entries/1/data/charge_pct"),
        ({"data": {"charge_pct": 1e400}}, None),
        ({"data": {"charge_pct": 10**400}}, "/entries/1/data/charge_pct"),
        ({"data": {"b/a~t": 1}}, "/entries/1/data/b~1a~0t"),
        ({"kind": "no_such"}, "/entries/1/kind"),
        ({"kind": "settings"}, "/entries/1/kind"),
        ({"kind": "alert_raised"}, "/entries/1/kind"),
        ({"kind": "acknowledged"}, "/entries/1/kind"),
        ({"machine": "B7"}, "/entries/1/machine"),
        ({"id": "1"}, "/entries/1/id"),
        ({"id": str(uuid.uuid4()).upper()}, "/entries/1/id"),
        ({"occurred_at": "yesterday"}, "/entries/1/occurred_at"),
        ({"occurred_at": "9999-12-31T23:59:59-23:59"}, "/entries/1/occurred_at"),
        ({"occurred_at": "0001-01-01T00:00:00+23:59"}, "/entries/1/occurred_at"),
        ({"occurred_at": "2026-03-03T12:00:00Z"}, None),  # not yet
        ({"occurred_at": "2020-03-03T12:00:00Z"}, None),  # before the machine was there
        ({"name": "Ana"}, "/entries/1/name"),
        ({"kind": "note", "data": {"note": "a\0b"}}, "/entries/1/data/note"),
    ],
)
def test_one_wrong_entry_and_none_is_saved(
    asking: Callable[..., Asking], changed: dict[str, Any], pointer: str | None
) -> None:  # fmt: skip
    one = asking()
    wrong = {**entry(kind="put_away"), **changed}
    answer = one.post("/entries", one.key("post"), posting(entry(), wrong))
    assert 400 <= answer.status_code < 500
    body = answer.json()
    assert body["detail"].endswith((".", "plate, and at the key's sites."))
    assert "Nothing" in body["detail"]
    if pointer is not None:
        assert pointer in [each["pointer"] for each in body["errors"]]
    assert one.seqs("B7H") == 1


@pytest.mark.parametrize(
    ("body", "status", "sort"),
    [
        (b"", 400, "malformed"),
        (b"{", 400, "malformed"),
        (b'{"entries": "\xff"}', 400, "malformed"),
        (b'\xef\xbb\xbf{"entries": []}', 400, "malformed"),
        (b'{"entries": [{"id": "\\ud800"}]}', 400, "malformed"),
        (b'{"entries": [{"id": "a\x00"}]}', 400, "malformed"),
        (b'{"entries": ' + b"[" * 100_000, 400, "malformed"),
        (b"null", 422, "invalid"),
        (b"[]", 422, "invalid"),
        (b'{"entries": []}', 422, "invalid"),
        (b'{"entries": ' + b"9" * 5_000 + b"}", 400, "malformed"),
        (b'{"entries": [' + b"1," * 400_000 + b"1]}", 422, "invalid"),
        (b" " * 1_000_001, 413, "too_large"),
    ],
)
def test_what_cannot_be_read(asking: Callable[..., Asking], body: bytes, status: int, sort: str) -> None:
    one = asking()
    is_problem(one.post("/entries", one.key("post"), body), status, sort)


def test_more_than_a_hundred_at_once_are_too_many(asking: Callable[..., Asking]) -> None:
    one = asking()
    token = one.key("post")
    is_problem(one.post("/entries", token, posting(*[entry() for _ in range(101)])), 422, "invalid")
    assert one.post("/entries", token, posting(*[entry() for _ in range(100)])).status_code == 201
    assert one.seqs("B7H") == 101


@pytest.mark.parametrize(
    "headers",
    [{"content_type": "text/plain"}, {"content_type": "application/json; charset=latin-1"}, {"content_encoding": "gzip"},
     {"content_type": "application/x-www-form-urlencoded"}, {"content_type": ""}],
)  # fmt: skip
def test_what_is_not_called_json_is_not_read(asking: Callable[..., Asking], headers: dict[str, str]) -> None:
    one = asking()
    is_problem(one.post("/entries", one.key("post"), posting(entry()), **headers), 415, "not_json")


@pytest.mark.parametrize(
    ("method", "path", "status", "sort"),
    [
        ("GET", "/", 404, "not_there"),
        ("GET", "/nowhere", 404, "not_there"),
        ("GET", "/machines/", 404, "not_there"),
        ("GET", "/machines/%00", 404, "not_there"),
        ("GET", "/machines/%ff", 404, "not_there"),
        ("GET", "/machines/..%2f..%2fetc", 404, "not_there"),
        ("GET", "/machines/" + "B" * 3_000, 404, "not_there"),
        ("GET", "/machines?limit=0", 422, "invalid"),
        ("GET", "/machines?limit=many", 422, "invalid"),
        ("GET", "/machines/B7H/entries?from=noon", 422, "invalid"),
        ("GET", "/machines/B7H/entries?after=" + "9" * 30, 422, "invalid"),
        ("GET", "/problems/none", 404, "not_there"),
        ("POST", "/alerts/none/acknowledge", 404, "not_there"),
        ("DELETE", "/machines/B7H", 405, "wrong_method"),
        ("PUT", "/entries", 405, "wrong_method"),
        ("BREW", "/kinds", 405, "wrong_method"),
    ],
)
def test_addresses_that_are_none(asking: Callable[..., Asking], method: str, path: str, status: int, sort: str) -> None:
    one = asking()
    headers = {"authorization": f"Bearer {one.key(*ALL)}"}
    answer = one.client.request(method, f"/api/v1{path}", headers=headers)
    is_problem(answer, status, sort)
    if status == 405:
        assert answer.headers["allow"] in {"GET", "POST"}


# -- reading ------------------------------------------------------------------------------------------------------


def test_a_machine_that_would_cut_the_floor_is_not_called_ready(asking: Callable[..., Asking]) -> None:
    one = asking()
    token = one.key("read")
    one.pages.stage.tell("B7H", "segments", left_um=[0, 4_000])
    assert one.get("/machines/B7H", token).json()["state"] == "bare_head"
    one.pages.stage.tell("B7H", "segment_change")
    assert one.get("/machines/B7H", token).json()["state"] == "ready"


def test_a_machine_with_what_is_owed(asking: Callable[..., Asking]) -> None:
    one = asking()
    token = one.key("read", "post")
    one.post("/entries", token, posting(entry(kind="put_away", charge_pct=64)))
    found = one.get("/machines/b7h", token).json()
    assert (found["code"], found["site"], found["zone"], found["state"], found["seq"]) == (
        "B7H", "HX", "America/Halifax", "ready", 2,
    )  # fmt: skip
    owed = {each["duty"]: each for each in found["owed"]}
    assert {"rinse", "charge", "squeegee", "watering"} <= set(owed)
    assert owed["rinse"]["due_at"] == "2026-03-02T12:30:00Z"
    one.pages.stage.until(one.pages.stage.now + HOUR)
    (alert,) = [each for each in one.get("/machines/B7H", token).json()["alerts"] if each["duty"] == "charge"]
    assert (alert["machine"], alert["number"], alert["outcome"]) == ("B7H", 1, None)
    by = one.get("/due?until=2026-03-02T12:30:00Z&site=HX", token).json()["items"]
    assert {each["duty"] for each in by} == {"rinse", "charge", "squeegee"}
    assert all(each["late"] for each in by)


def test_pages_of_a_history_follow_seq_and_miss_nothing(asking: Callable[..., Asking]) -> None:
    one = asking()
    token = one.key("read", "post")
    ids = [str(uuid.uuid4()) for _ in range(7)]
    one.post("/entries", token, posting(*[entry(id=id_) for id_ in ids]))
    one.post("/entries", token, posting(entry(kind="void", entry=ids[2])))
    seen: list[dict[str, Any]] = []
    where: str | None = "/machines/B7H/entries?limit=3"
    while where is not None:
        page = one.get(where.removeprefix("/api/v1"), token).json()
        assert len(page["items"]) <= 3
        seen += page["items"]
        where = page["next"]
    assert [each["seq"] for each in seen] == list(range(1, 10))
    assert [each["id"] for each in seen[1:8]] == ids
    assert [each["struck_by"] for each in seen if each["struck_by"]] == [seen[-1]["id"]]
    assert {each["role"] for each in seen} == {"program", "cleaner"}


def test_a_history_as_it_was_known(asking: Callable[..., Asking]) -> None:
    one = asking()
    stage, token = one.pages.stage, one.key("read")
    stage.tell("B7H", "rinse", "2026-03-02T11:00:00Z")
    (rinse,) = [each for each in one.get("/machines/B7H/entries", token).json()["items"] if each["kind"] == "rinse"]
    stage.now += 10 * MINUTE
    stage.tell("B7H", "void", entry=rinse["id"])

    def kinds(query: str) -> list[str]:
        return [each["kind"] for each in one.get(f"/machines/B7H/entries?{query}", token).json()["items"]]

    assert kinds("known_at=2026-03-02T12:05:00Z") == ["commissioned", "rinse"]
    assert kinds("known_at=2026-03-02T12:10:00Z") == ["commissioned", "void"]
    assert kinds("known_at=2026-03-02T12:10:00Z&limit=1") == ["commissioned"]
    assert kinds("from=2026-03-02T11:00:00Z&to=2026-03-02T11:00:00Z") == ["rinse"]


def test_private_words_are_for_keys_that_may_read_them_and_names_for_none(asking: Callable[..., Asking]) -> None:
    one = asking()
    one.pages.stage.tell("B7H", "fault", note="hose leaks, says Ana Silva's shift")

    def fault(*may: str) -> dict[str, Any]:
        items = one.get("/machines/B7H/entries", one.key(*may)).json()["items"]
        return next(each for each in items if each["kind"] == "fault")

    assert (fault("read")["data"], fault("read")["withheld"]) == ({}, ["note"])
    assert fault("read", "words")["data"]["note"].startswith("hose leaks")
    token = one.key("read")
    paths = ("/machines", "/machines/B7H", "/machines/B7H/entries", "/alerts", "/due", "/policy", "/kinds", "/health")
    told = "".join(one.get(path, token).text for path in paths)
    for name in ("Ana Silva", "Lee Shaw", "Jo Marsh", one.pages.stage.person("ana"), "+19025550111", "lee@ferry"):
        assert name not in told


def test_what_has_not_changed_is_not_sent_again(asking: Callable[..., Asking]) -> None:
    one = asking()
    token = one.key("read", "post")
    for path in ("/machines", "/machines/B7H", "/machines/B7H/entries", "/alerts", "/due", "/policy", "/kinds"):
        first = one.get(path, token)
        assert first.headers["cache-control"] == "private, no-cache"
        again = one.get(path, token, if_none_match=f'"x", {first.headers["etag"]}')
        assert (again.status_code, again.content) == (304, b"")
        assert one.get(path, token, if_none_match='"x"').status_code == 200
    before = one.get("/machines/B7H/entries", token).headers["etag"]
    one.post("/entries", token, posting(entry()))
    assert one.get("/machines/B7H/entries", token, if_none_match=before).status_code == 200


def test_machines_come_in_pages(asking: Callable[..., Asking]) -> None:
    one = asking()
    token = one.key("read")
    first = one.get("/machines?limit=1", token).json()
    second = one.get(first["next"].removeprefix("/api/v1"), token).json()
    assert [each["code"] for each in first["items"] + second["items"]] == ["B7H", "B8F"]
    assert second["next"] is None


# -- alerts -------------------------------------------------------------------------------------------------------


def test_an_alert_is_taken_in_hand_once(asking: Callable[..., Asking]) -> None:
    one = asking()
    stage, token = one.pages.stage, one.key("read", "alerts")
    stage.tell("B7H", "put_away", charge_pct=64)
    stage.until(stage.now + HOUR)
    alert = next(each for each in one.get("/alerts", token).json()["items"] if each["duty"] == "charge")
    where, sent = f"/alerts/{alert['serial']}/acknowledge", {"id": str(uuid.uuid4()), "reporter": "lee"}
    is_problem(one.post(where, token, {**sent, "reporter": "ana"}), 403, "not_allowed")
    is_problem(one.post(where, token, {**sent, "reporter": "kim"}), 403, "not_allowed")
    is_problem(one.post(where, token, {"id": sent["id"]}), 422, "unknown_reporter")
    first = one.post(where, token, sent)
    assert (first.status_code, first.json()["until"]) == (201, "2026-03-02T21:00:00Z")
    stage.now += 5 * MINUTE
    again = one.post(where, token, sent)
    assert (again.status_code, again.json()) == (200, {**first.json(), "repeated": True})
    assert len(stage.entries("B7H", "acknowledged")) == 1
    stage.step()
    (live,) = [each for each in one.get("/machines/B7H/alerts", token).json()["items"] if each["duty"] == "charge"]
    assert (live["acknowledged_until"], live["cleared_at"]) == ("2026-03-02T21:00:00Z", None)
    stage.tell("B7H", "charge")
    stage.step()
    is_problem(one.post(where, token, {**sent, "id": str(uuid.uuid4())}), 409, "alert_over")
    assert one.post(where, token, sent).status_code == 200  # what was answered stays answered


# -- how often ----------------------------------------------------------------------------------------------------


def test_a_key_that_asks_too_often_waits_for_the_next_minute(asking: Callable[..., Asking]) -> None:
    one = asking()
    token, other = one.key("read", "post"), one.key("read")
    limits = one.pages.app.state.api.state.limits
    limits.most, limits.share = 10, 4
    one.pages.stage.now += 12_000_000
    assert [one.get("/machines", token).status_code for _ in range(10)] == [200] * 10
    answer = one.post("/entries", token, posting(entry()))
    is_problem(answer, 429, "too_often")
    assert answer.headers["retry-after"] == "48"
    assert one.seqs("B7H") == 1
    assert one.get("/machines", other).status_code == 200
    one.pages.stage.now += 48_000_000
    assert one.post("/entries", token, posting(entry())).status_code == 201


def test_a_restart_forgives_nothing(asking: Callable[..., Asking]) -> None:
    one = asking()
    token = one.key("read")
    one.pages.app.state.api.state.limits.most = 10
    for _ in range(10):
        one.get("/kinds", token)
    again = Pages(one.pages.stage, one.pages.house, make_app(one.pages.house))
    again.app.state.api.state.limits.most = 10
    is_problem(Asking(again).get("/kinds", token), 429, "too_often")


def test_a_stranger_makes_nothing_be_written(asking: Callable[..., Asking]) -> None:
    one = asking()
    before = one.pages.stage.read(lambda c: c.exec_driver_sql("pragma data_version").scalar())
    for _ in range(5):
        is_problem(one.get("/machines", "mlk_" + "x" * 43), 401, "unknown_key")
    assert one.pages.stage.read(lambda c: c.exec_driver_sql("select count(*) from attempt").scalar()) == 0
    assert one.pages.stage.read(lambda c: c.exec_driver_sql("pragma data_version").scalar()) == before
