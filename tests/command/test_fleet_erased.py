"""A fleet file does not bring back whom it still names and who was erased."""

from __future__ import annotations

JO = '\n[[person]]\nkey = "boss"\nname = "Kim Noor"\nrole = "owner"\nemail = "kim@kittiwake.example"\n'
EVA = '\n[[person]]\nkey = "eva"\nname = "Eva Bay"\nrole = "cleaner"\nsites = ["north-slip"]\n'


def _keys(asked):
    return {person["key"] for person in asked("fleet", "show")["people"]}


def test_whom_a_file_still_names_is_not_added_anew(fleet, asked, done, refused, home):
    file = home / "FLEET.toml"
    file.write_text(file.read_text(encoding="utf-8") + JO, encoding="utf-8")
    done("fleet", "apply", "FLEET.toml")
    asked("erase", "jo", "--ground", "asked by the person", "--by", "boss", "--yes")
    before = asked("audit")["entries"]
    for words in ((), ("--dry-run",)):
        said = refused("fleet", "apply", "FLEET.toml", *words)
        assert "does not know jo" in said
        assert "--add-people" in said
    assert asked("audit")["entries"] == before
    assert "jo" not in _keys(asked)


def test_somebody_new_is_added_when_it_is_said(fleet, asked, done, refused, home):
    file = home / "FLEET.toml"
    file.write_text(file.read_text(encoding="utf-8") + JO, encoding="utf-8")
    done("fleet", "apply", "FLEET.toml")
    asked("erase", "jo", "--ground", "asked by the person", "--by", "boss", "--yes")
    text = file.read_text(encoding="utf-8")
    # The tables of a person begin alike: the erased one's is the one that names the key.
    tables = [each for each in text.split("[[person]]") if 'key = "jo"' not in each]
    file.write_text("[[person]]".join(tables) + EVA, encoding="utf-8")
    assert "eva" in refused("fleet", "apply", "FLEET.toml")
    done("fleet", "apply", "FLEET.toml", "--add-people")
    assert "eva" in _keys(asked)
    assert "jo" not in _keys(asked)
    assert "Nothing differs" in done("fleet", "apply", "FLEET.toml")
