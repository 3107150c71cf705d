"""A page's form, read and sent as a browser without a script does: what stands in the HTML, and nothing else."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

from starlette.testclient import TestClient

Attrs = dict[str, str | None]


@dataclass
class Screen(HTMLParser):
    """One answer's page. `fields`: what would be sent with any button; `choices`: every offered (name, value)."""

    html: str
    status: int = 200
    fields: list[tuple[str, str]] = field(default_factory=list)
    choices: set[tuple[str, str]] = field(default_factory=set)
    names: set[str] = field(default_factory=set)
    buttons: list[Attrs] = field(default_factory=list)
    form: Attrs = field(default_factory=dict)
    text: str = ""
    _select: str = ""
    _area: str = ""

    def __post_init__(self) -> None:
        super().__init__()
        self.feed(self.html)
        self.text = " ".join(self.text.split())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        has = dict(attrs)
        name, value = has.get("name") or "", has.get("value") or ""
        match tag:
            case "form":
                self.form = has
            case "button":
                self.buttons.append(has)
            case "input" if has.get("type") in ("radio", "checkbox"):
                self.choices.add((name, value))
                if "checked" in has:
                    self.fields.append((name, value))
            case "input" if has.get("type") != "file":
                self.names.add(name)
                self.fields.append((name, value))
            case "select":
                self._select = name
            case "option":
                self.choices.add((self._select, value))
                if not any(known == self._select for known, _value in self.fields) or value == "-":
                    self.fields.append((self._select, value))
            case "textarea":
                self.names.add(name)

    def handle_data(self, data: str) -> None:
        self.text += f" {data} "

    def button(self, kind: str) -> Attrs:
        """The button that tells this."""
        return next(each for each in self.buttons if (each.get("value") or "").partition(":")[0] == kind)

    def kinds(self) -> list[str]:
        """What the buttons tell, in their order."""
        return [(each.get("value") or "").partition(":")[0] for each in self.buttons if each.get("value")]


def look(browser: TestClient, path: str) -> Screen:
    """Open a page; it must be there."""
    answer = browser.get(path)
    assert answer.status_code == 200, answer.text
    return Screen(answer.text)


def press(browser: TestClient, screen: Screen, kind: str, *chosen: tuple[str, str], photo: bytes | None = None) -> Any:
    """Press a button, having chosen this. What is chosen must be offered. Answers as the server did."""
    button = screen.button(kind)
    sent: dict[str, list[str]] = {}
    names = {name for name, _value in chosen}
    for name, value in screen.fields:
        if name not in names:
            sent.setdefault(name, []).append(value)
    for name, value in chosen:
        assert (name, value) in screen.choices or name in screen.names, (name, value)
        sent.setdefault(name, []).append(value)
    sent[str(button["name"])] = [str(button["value"])]
    # multipart, as the form says: an empty file is sent along where none was chosen
    file = ("p.jpg", photo, "image/jpeg") if photo is not None else ("", b"", "application/octet-stream")
    return browser.post(str(button.get("formaction") or screen.form["action"]), data=sent, files={"photo": file})


def tap(browser: TestClient, path: str, kind: str, *chosen: tuple[str, str], photo: bytes | None = None) -> Screen:
    """Open, press, and follow to the page that answers."""
    answer = press(browser, look(browser, path), kind, *chosen, photo=photo)
    if answer.status_code == 303:
        return look(browser, answer.headers["location"])
    return Screen(answer.text, answer.status_code)
