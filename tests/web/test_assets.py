"""Files as they are served: leaner than they are written, and the same."""

from __future__ import annotations

import gzip
from collections.abc import Callable
from importlib import resources

import pytest

from logbook.web import assets, lean
from tests.web.conftest import Pages

WRITTEN = {
    each.name: each.read_text("utf-8")
    for each in resources.files("logbook.web").joinpath("static").iterdir()
    if each.name.endswith((".js", ".css"))
}


@pytest.mark.parametrize(
    ("written", "served"),
    [
        ("// why\nlet a = 1; // once\n\n  a++;\n", "let a = 1;\na++;\n"),
        ('const a = "no // comment";\n', 'const a = "no // comment";\n'),
        ("const a = 'no // comment', b = '';\n", "const a = 'no // comment', b = '';\n"),
        ("const a = /x // y/;\n", "const a = /x // y/;\n"),
        ("const a = `x // ${b}`;\n", "const a = `x // ${b}`;\n"),
        ("call(`one\n  // two\n`);\n// three\n", "call(`one\n  // two\n`);\n// three\n"),  # text over several lines
        ('const a = "one\\\n  two";\n', 'const a = "one\\\n  two";\n'),
        ("/* one\n  // two */ let a;\n", "/* one\n  // two */ let a;\n"),
        ('const a = "http://ferry.example";\n', 'const a = "http://ferry.example";\n'),
    ],
)
def test_what_is_not_surely_a_comment_stays(written: str, served: str) -> None:
    assert lean.script(written) == served


def test_a_style_loses_its_comments_and_no_text() -> None:
    written = '/* why */\na::after{content:"/* no */"}\n  b{color:red/* so */}\n\n'
    assert lean.style(written) == 'a::after{content:"/* no */"}\nb{color:red}\n'


@pytest.mark.parametrize("name", sorted(WRITTEN))
def test_lines_that_are_code_are_all_there_in_order(name: str) -> None:
    """Each line that is served is the beginning of a line that was written, and only comments are passed over."""
    written = [line.strip() for line in WRITTEN[name].split("\n") if line.strip()]
    served = assets.files()[name].decode().splitlines()
    left = iter(served)
    for line in written:
        if line.startswith("//"):
            continue
        got = next(left)
        assert line == got or line[len(got) :].lstrip().startswith("// "), line
    assert next(left, None) is None
    assert name.endswith(".css") or len(served) < len(written), "this script is left as it is written: see lean.py"


def test_a_file_is_packed_for_whoever_takes_it_so(pages: Callable[..., Pages]) -> None:
    browser, path = pages().client(), assets.address("phone.js")
    packed = browser.get(path, headers={"accept-encoding": "br, gzip;q=0.5"})
    plain = browser.get(path, headers={"accept-encoding": "identity"})
    assert (packed.headers["content-encoding"], "content-encoding" in plain.headers) == ("gzip", False)
    assert packed.content == plain.content == assets.files()["phone.js"]
    assert int(packed.headers["content-length"]) == len(gzip.compress(plain.content, 9))
    assert packed.headers["vary"] == plain.headers["vary"] == "Accept-Encoding"


def test_an_older_address_is_asked_again_and_told_that_it_is_the_same(pages: Callable[..., Pages]) -> None:
    browser = pages().client()
    tags = set()
    for coding in ("gzip", "identity"):
        first = browser.get("/static/older/phone.js", headers={"accept-encoding": coding})
        tags.add(tag := first.headers["etag"])
        again = browser.get("/static/older/phone.js", headers={"accept-encoding": coding, "if-none-match": tag})
        assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", tag)
        assert browser.get("/static/older/phone.js", headers={"if-none-match": '"other"'}).status_code == 200
    assert len(tags) == 2, "other octets have another tag"
