"""Templates: what is wrong with one is told in one sentence, when it is read."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from logbook.channels.gateway import GatewaySettings
from logbook.channels.gateway.settings import read, sentence
from logbook.channels.gateway.signature import to_sign
from logbook.channels.gateway.templates import at_path, filled, filled_address
from tests.channels.gateway.playing import settings

HEAD = '[gateway]\nsecret = "long enough to be one"\n'
INSIDE = '[gateway.in]\nid = "id"\nsender = "from"\ntext = "text"\n'
OUTSIDE = '[gateway.out]\nurl = "https://texts.example/v1/messages"\nbody = { to = "{to}", text = "{text}" }\n'
RECEIPT = '[gateway.receipt]\nid = "id"\nstate = "state"\n'


def test_the_template_in_the_words_above_the_code_is_one(tmp_path):
    shown = (read.__module__ and __import__(read.__module__, fromlist=["x"]).__doc__) or ""
    block = "\n".join(line[4:] for line in shown.splitlines() if line.startswith("    "))
    secret, token = tmp_path / "gateway", tmp_path / "token"
    secret.write_text("0123456789abcdef\nfedcba9876543210\n")
    token.write_text("t0ken\n")
    found = read(block.replace("/etc/logbook/gateway-token", str(token)).replace("/etc/logbook/gateway", str(secret)))
    assert found.inward is not None
    assert found.out is not None
    assert (found.name, found.host, found.port) == ("gateway", "127.0.0.1", 8741)
    assert found.secrets() == (b"0123456789abcdef", b"fedcba9876543210")
    assert found.out.secret() == "t0ken"


def test_one_side_alone_will_do():
    assert read(HEAD + INSIDE).out is None
    assert read("[gateway]\n" + OUTSIDE).inward is None
    assert read(HEAD.replace("secret", 'listen = "[::1]:8741"\nsecret') + INSIDE).host == "::1"


WRONG = {
    "not = toml [": "not TOML",
    "[mail]": "no table [gateway]",
    "gateway = 1": "no table [gateway]",
    "[gateway]": "[gateway.in], [gateway.out] or both",
    "[gateway]\n" + INSIDE: "secret (or secret_file) is missing",
    '[gateway]\nsecret = "short"\n' + INSIDE: "at least 16 characters",
    '[gateway]\nsecret_file = "/nowhere/at/all"\n' + INSIDE: "/nowhere/at/all cannot be read",
    HEAD + 'secret_is = "hex"\n' + INSIDE: "the secret is not hex",
    HEAD + 'secret_is = "base64"\n' + INSIDE: "the secret is not base64",
    HEAD + 'secret_file = "x"\n' + INSIDE: "not both",
    HEAD + 'name = "Our Gateway"\n' + INSIDE: "gateway.name",
    HEAD + 'listen = "8741"\n' + INSIDE: "gateway.listen",
    HEAD + 'listen = "log.example:8741"\n' + INSIDE: "gateway.listen",
    HEAD + 'listen = "127.0.0.1:99999"\n' + INSIDE: "gateway.listen",
    HEAD + "colour = 1\n" + INSIDE: "There is no setting gateway.colour.",
    HEAD + INSIDE + 'form = "json"': "There is no setting gateway.in.form.",
    HEAD + '[gateway.in]\nid = "id"\nsender = "from"\n': "The setting gateway.in.text is missing.",
    HEAD + INSIDE + 'at = "message..at"': "at = 'message..at' names no place",
    HEAD + INSIDE + 'format = "xml"': "gateway.in.format",
    HEAD + INSIDE + 'path = "texts"': "no path such as /texts",
    HEAD + INSIDE + 'path = "/a/../b"': "no path such as /texts",
    HEAD + INSIDE + 'path = "/{x}"': "no path such as /texts",
    HEAD + INSIDE + 'signed = "{body}"': "{timestamp} and {body}",
    HEAD + INSIDE + 'signed = "{timestamp}{body}{body}"': "{timestamp} and {body}",
    HEAD + INSIDE + 'signed = "{timestamp}{body}{url}"': "{timestamp} and {body}",
    HEAD + INSIDE + 'signature = "sha1"': "gateway.in.signature",
    HEAD + INSIDE + 'signature_header = "X Sig"': "the name of a header",
    HEAD + INSIDE + 'signature_header = "x-timestamp"': "in one header",
    HEAD + INSIDE + "at_within = -1": "gateway.in.at_within",
    "[gateway]\n" + OUTSIDE + RECEIPT: "[gateway.receipt] needs [gateway.in]",
    HEAD + INSIDE + RECEIPT + 'path = "/texts"': "at one path",
    HEAD + INSIDE + RECEIPT + "arrived = []": "gateway.receipt.arrived",
    HEAD + INSIDE + RECEIPT + 'arrived = ["Failed"]': "cannot mean both",
    "[gateway]\n" + OUTSIDE + "confirms = true": "confirms needs reference",
    "[gateway]\n" + OUTSIDE + 'confirms = true\nreference = "id"': "confirms needs [gateway.receipt]",
    "[gateway]\n" + OUTSIDE + 'reference = "{id}"': "needs {id}",
    "[gateway]\n" + OUTSIDE + 'reference = "a b"': "no place in its answer",
    "[gateway]\n" + OUTSIDE + "accepted = [200, 302]": "from 200 to 299",
    "[gateway]\n" + OUTSIDE + "accepted = []": "gateway.out.accepted",
    "[gateway]\n" + OUTSIDE + "refused = [401]": "never do",
    "[gateway]\n" + OUTSIDE + 'token = "x"': "goes with {token}",
    "[gateway]\n" + OUTSIDE + 'user = "x"': "goes with {token} in a header, or with user",
    "[gateway]\n" + OUTSIDE + 'headers = { Authorization = "Bearer {token}" }': "goes with {token}",
    "[gateway]\n" + OUTSIDE + 'headers = { Authorization = "x" }\nuser = "x"\ntoken = "y"': "nor go with",
    "[gateway]\n" + OUTSIDE + 'token_file = "/nowhere"\nuser = "x"': "/nowhere cannot be read",
    "[gateway]\n" + OUTSIDE + 'headers = { Host = "x" }': "'Host' cannot be set",
    "[gateway]\n" + OUTSIDE + 'headers = { "X:Y" = "x" }': "'X:Y' cannot be set",
    "[gateway]\n" + OUTSIDE + 'headers = { X = "a\\r\\nb" }': "plain letters",
    "[gateway]\n" + OUTSIDE + 'headers = { X = "{text}" }': "cannot hold a text",
    "[gateway]\n" + OUTSIDE + 'headers = { X = "{txt}" }': "headers has a placeholder {txt}",
    "[gateway]\n" + OUTSIDE + 'method = "GET"': "a GET has no body",
    "[gateway]\n" + OUTSIDE.replace("{text}", "{txt}"): "body has a placeholder {txt}, and there are only {to}",
    "[gateway]\n" + OUTSIDE.replace("{text}", "text"): "must hold {text}",
    "[gateway]\n" + OUTSIDE.replace("{to}", "to"): "{to} or {digits}",
    "[gateway]\n" + OUTSIDE.replace('"{to}"', '{ n = "{to}" }') + 'format = "form"': "a flat table",
    "[gateway]\n" + OUTSIDE.replace("https", "http"): "over an open line",
    "[gateway]\n" + OUTSIDE.replace("https", "ftp"): "an address such as",
    "[gateway]\n" + OUTSIDE.replace("texts.example", "me:pw@texts.example"): "holds no login",
    "[gateway]\n" + OUTSIDE.replace("texts.example", "{to}.example"): "cannot be filled in",
    "[gateway]\n" + OUTSIDE.replace("messages", "messages?key={token}"): "does not belong in an address",
    "[gateway]\n" + OUTSIDE.replace("messages", "messages#x"): "an address such as",
    "[gateway]\n" + OUTSIDE.replace("texts.example", "texts.example:x"): "cannot be read",
}


@pytest.mark.parametrize("template", WRONG)
def test_what_is_wrong_is_told_in_a_sentence(template):
    with pytest.raises(ValueError, match=r"\.$") as told:
        read(template)
    said = str(told.value)
    assert WRONG[template] in said
    assert "\n" not in said
    assert "long enough to be one" not in said
    assert not isinstance(told.value, ValidationError)


def test_a_program_may_make_them_without_a_file():
    with pytest.raises(ValidationError) as told:
        GatewaySettings.model_validate({"secret": "too short"})
    assert "too short" not in sentence(told.value)
    assert settings().inward == GatewaySettings.model_validate(
        {"secret": "0123456789abcdef", "in": settings().inward}
    ).inward  # fmt: skip


def test_what_is_signed_is_put_together_as_the_template_says():
    inward = settings().inward
    assert inward is not None
    assert to_sign(inward, "17", b'{"x": "{timestamp}"}') == b'17.{"x": "{timestamp}"}'
    other = inward.model_copy(update={"signed": "v0:{body}|{timestamp}"})
    assert to_sign(other, "17", b"{body}") == b"v0:{body}|17"


def test_a_value_is_never_a_template():
    values = {"to": "{text}", "text": "{to}/?&\n"}
    assert filled({"{to}": ["{to}", "{{text}}", 1, None]}, values) == {"{to}": ["{text}", "{{to}/?&\n}", 1, None]}
    assert filled_address("/x/{to}?t={text}", values) == "/x/%7Btext%7D?t=%7Bto%7D%2F%3F%26%0A"


@pytest.mark.parametrize(
    ("path", "found"),
    [
        ("a.b", 1),
        ("c.1.d", 2),
        ("c.0", "x"),
        ("c.2", None),
        ("c.-1", None),
        ("c.x", None),
        ("a.b.c", None),
        ("z", None),
    ],
)
def test_a_place(path, found):
    assert at_path({"a": {"b": 1}, "c": ["x", {"d": 2}]}, path) == found
