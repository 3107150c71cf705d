"""Settings of the mailbox: what is refused when it is read, and what is taken for granted."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from logbook.channels.mail_in import MailInSettings

GOOD = {"host": "mail.ferry.example", "user": "log", "password": "x"}


def made(**changes: object) -> MailInSettings:
    return MailInSettings.model_validate({**GOOD, **changes})


def test_what_is_taken_for_granted():
    settings = made()
    assert (settings.security, settings.to_port, settings.folder, settings.done_folder) == (
        "implicit", 993, "INBOX", None,
    )  # fmt: skip
    assert settings.max_bytes == 256 * 1024
    assert settings.our_authserv_ids == ()
    assert made(security="starttls").to_port == 143
    assert made(security="starttls", port=1143).to_port == 1143


def test_the_names_of_our_server():
    assert made(our_authserv_ids="MX.Ferry.Example").our_authserv_ids == ("mx.ferry.example",)
    assert made(our_authserv_ids="a.example, b.example").our_authserv_ids == ("a.example", "b.example")
    assert made(our_authserv_ids=["a.example"]).our_authserv_ids == ("a.example",)


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"security": "none"}, "open line"),
        ({"password": None}, "password"),
        ({"password_file": "/nowhere"}, "password"),
        ({"password": None, "password_file": "/nowhere"}, "cannot be read"),
        ({"host": "not a host"}, "host"),
        ({"user": ""}, "user"),
        ({"done_folder": "INBOX"}, "another one"),
        ({"our_authserv_ids": "mx ferry"}, "not a name"),
        ({"our_authserv_ids": ["mx;ferry"]}, "not a name"),
        ({"idle": 3_000}, "idle"),
        ({"max_bytes": 1}, "max_bytes"),
        ({"authserv_headers": 0}, "authserv_headers"),
        ({"nonsense": 1}, "nonsense"),
    ],
)
def test_what_is_refused(changes, word):
    with pytest.raises(ValidationError) as why:
        made(**changes)
    assert word in str(why.value)


def test_a_password_over_an_open_line_to_this_machine_alone():
    assert made(host="127.0.0.1", security="none").is_local
    assert made(host="::1", security="none").is_local


def test_a_password_is_not_shown_and_its_file_is_read_anew(tmp_path):
    file = tmp_path / "password"
    file.write_text("one\n")
    settings = made(password=None, password_file=str(file))
    assert settings.secret() == "one"
    file.write_text("two")
    assert settings.secret() == "two"
    assert "secret-word" not in repr(made(password="secret-word"))
    file.unlink()
    with pytest.raises(ValueError, match="cannot be read"):
        settings.secret()
