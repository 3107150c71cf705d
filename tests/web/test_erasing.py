"""The page that erases a person: owners alone, two questions, and what it shows is what goes."""

from __future__ import annotations

import re

from logbook.store import tables

GROUND = "asked by the person"


def _page(made, key="own"):
    browser = made.client(key)
    return browser, f"/en/register/erasing/{made.stage.person('ana')}"


def _id(shown: str) -> str:
    return re.search(r'name="id" value="([0-9a-f-]{36})"', shown).group(1)


def test_only_an_owner_sees_it(pages):
    made = pages()
    for key in ("ana", "lee"):
        browser, path = _page(made, key)
        assert browser.get(path).status_code == 404
        assert (
            made.post(browser, path + "/now", ground=GROUND, typed="Ana Silva", id=made.stage.ids()).status_code == 404
        )
    assert made.client().get(path).status_code == 303
    assert made.client("own").get("/en/register/erasing/nobody").status_code == 404
    assert made.stage.register.people[made.stage.person("ana")].name == "Ana Silva"


def test_both_questions_must_be_answered(pages):
    made = pages()
    made.stage.tell("B7H", "note", note="a saffron gull")
    browser, path = _page(made)
    first = browser.get(path)
    assert "Erase Ana Silva" in first.text
    assert "remarks with their entries" in first.text
    assert made.post(browser, path, ground="").status_code == 422
    second = made.post(browser, path, ground=GROUND)
    assert "Type Ana Silva" in second.text
    id_ = _id(second.text)
    wrong = made.post(browser, path + "/now", ground=GROUND, typed="Ana", id=id_)
    assert (wrong.status_code, "not what stands above" in wrong.text) == (422, True)
    named = made.post(browser, path + "/now", ground="Ana Silva left", typed="Ana Silva", id=id_)
    assert (named.status_code, "leave their name" in named.text) == (422, True)
    assert browser.post(path + "/now", data={"ground": GROUND, "typed": "Ana Silva", "id": id_}).status_code == 403
    uuid = made.stage.person("ana")
    assert made.stage.register.people[uuid].name == "Ana Silva"
    done = made.post(browser, path + "/now", ground=GROUND, typed="ana silva", id=id_)
    assert (done.status_code, done.headers["location"]) == (303, path)
    assert made.stage.register.people[uuid].name is None
    after = browser.get(path).text
    assert "Nothing of this person is left" in after
    assert "Ana" not in after
    # The same form sent twice is one erasure.
    assert made.post(browser, path + "/now", ground=GROUND, typed="ana silva", id=id_).status_code == 303
    kinds = made.stage.read(lambda c: [row.kind for row in c.execute(tables.entry.select())])
    assert kinds.count("erased") == 1


def test_whoever_is_signed_in_and_erased_is_nobody(pages):
    made = pages()
    ana = made.client("ana")
    assert ana.get("/").headers["location"].endswith("/machines")
    browser, path = _page(made)
    id_ = _id(made.post(browser, path, ground=GROUND).text)
    made.post(browser, path + "/now", ground=GROUND, typed="Ana Silva", id=id_)
    assert "/sign-in" in ana.get("/").headers["location"]


def test_an_owner_alone_cannot_erase_themself(pages):
    made = pages()
    browser = made.client("own")
    path = f"/en/register/erasing/{made.stage.person('own')}"
    refused = made.post(browser, path + "/now", ground=GROUND, typed="Jo Marsh", id=made.stage.ids())
    assert refused.status_code == 422
    assert "only owner" in refused.text


def test_in_spanish_too(pages):
    made = pages()
    said = made.client("own").get(f"/es/register/erasing/{made.stage.person('ana')}").text
    assert "Borrar a Ana Silva" in said
    assert "lo pidió la persona" in said
