"""Settings: where they come from, which outweighs which, and what is said when one cannot be used."""

from __future__ import annotations

from pathlib import Path

import pytest

from logbook.config import Config, ConfigError, read

FULL = """
db = "sqlite:///fleet.sqlite"
base_address = "https://log.ferries.example/"
log_level = "warning"

[mail]
host = "mail.ferries.example"
security = "starttls"
user = "logbook"
password = "s3cret"
from_address = "logbook@ferries.example"
from_name = "Machine logbook"
timeout = 7
"""


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path / "logbook.toml"


def wrong(file: Path, text: str | None = None, **environment: str) -> str:
    """The one sentence that is said."""
    if text is not None:
        file.write_text(text)
    with pytest.raises(ConfigError) as told:
        read(environment=environment)
    said = str(told.value)
    assert "\n" not in said
    assert said.endswith((".", "?"))
    assert "s3cret" not in said
    return said


def test_without_anything_it_runs_on_a_file_here_and_sends_no_mail(file: Path) -> None:
    assert read() == Config(db="sqlite:///logbook.sqlite", base_address="", log_level="info", mail=None)


def test_a_file_is_read(file: Path) -> None:
    file.write_text(FULL)
    config = read(environment={})
    assert (config.db, config.base_address, config.log_level) == (
        "sqlite:///fleet.sqlite", "https://log.ferries.example", "warning",
    )  # fmt: skip
    mail = config.mail
    assert mail is not None
    assert (mail.to_port, mail.security, mail.user, mail.secret(), mail.timeout) == (
        587,
        "starttls",
        "logbook",
        "s3cret",
        7,
    )
    assert "s3cret" not in repr(config) + str(config.model_dump())


def test_the_environment_outweighs_the_file(file: Path) -> None:
    file.write_text(FULL)
    secret = file.parent / "secret"
    secret.write_text("other\n")
    config = read(
        environment={
            "LOGBOOK_DB": "postgresql://host/log", "LOGBOOK_MAIL_PORT": "2525", "LOGBOOK_LOG_LEVEL": "DEBUG",
            "LOGBOOK_MAIL_PASSWORD_FILE": str(secret), "LOGBOOK_MAIL_FROM_NAME": "", "LOGBOOK_OTHER": "x", "HOME": "/",
        }
    )  # fmt: skip
    assert (config.db, config.log_level) == ("postgresql://host/log", "debug")
    assert config.mail is not None
    assert (config.mail.to_port, config.mail.secret(), config.mail.from_name) == (2525, "other", "")


def test_the_environment_alone_is_enough(file: Path) -> None:
    config = read(environment={"LOGBOOK_MAIL_HOST": "localhost", "LOGBOOK_MAIL_FROM_ADDRESS": "log@ferries.example"})
    assert config.mail is not None
    assert (config.mail.security, config.mail.to_port, config.mail.says_hello_as) == (
        "implicit",
        465,
        "ferries.example",
    )


def test_a_file_that_is_named_must_be_there(file: Path) -> None:
    with pytest.raises(ConfigError, match="cannot be read"):
        read(file.parent / "other.toml")
    assert "cannot be read" in wrong(file, LOGBOOK_CONFIG=str(file.parent / "other.toml"))
    (file.parent / "other.toml").write_text('db = "sqlite:///o.sqlite"')
    assert read(environment={"LOGBOOK_CONFIG": str(file.parent / "other.toml")}).db == "sqlite:///o.sqlite"


def test_what_is_no_toml_or_no_text_is_told(file: Path) -> None:
    assert "not TOML" in wrong(file, "db = ")
    file.write_bytes(b"\xff\xfe")
    assert "not UTF-8" in wrong(file)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (('db =', 'bd ='), ["There is no setting bd in", "Did you mean db?"]),
        (('host =', 'hots ='), ["There is no setting mail.hots in", "Did you mean host?"]),
        (('from_address = "logbook@ferries.example"', ""),
         ["mail.from_address is missing", "LOGBOOK_MAIL_FROM_ADDRESS"]),
        (('logbook@ferries.example', 'logbook@ferries.example\\r\\nX: y'), ["mail.from_address in", "line break"]),
        (('"starttls"', '"tls"'), ["mail.security in", "'implicit', 'starttls' or 'none'"]),
        (('"starttls"', '"none"'), ["an open line"]),
        (('user = "logbook"', ""), ["user goes with a password"]),
        (('password = "s3cret"', 'password_file = "nowhere/secret"'), ["nowhere/secret cannot be read"]),
        (('timeout = 7', 'timeout = 0'), ["mail.timeout in", "greater than 0"]),
        (('timeout = 7', 'port = 70000'), ["mail.port in", "65535"]),
        (('https://log', 'log'), ["base_address in", "https://log.ferries.example"]),
        (('"warning"', '"loud"'), ["log_level in", "'debug', 'info'"]),
        (('mail.ferries.example', 'mail ferries'), ["mail.host in", "not the name of a host"]),
        (('"Machine logbook"', '"A\\nB"'), ["mail.from_name in", "without line breaks"]),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_named_in_one_sentence(file: Path, change: tuple[str, str], says: list[str]) -> None:
    text = FULL.replace(*change)
    assert text != FULL
    said = wrong(file, text)
    for part in says:
        assert part in said


def test_a_variable_that_is_wrong_is_named_as_such(file: Path) -> None:
    file.write_text(FULL)
    assert "LOGBOOK_MAIL_PORT" in wrong(file, LOGBOOK_MAIL_PORT="many")
    assert "LOGBOOK_MAIL_HOST?" in wrong(file, LOGBOOK_MAIL_HOTS="x")
    assert "[mail]" in wrong(file, 'mail = "localhost"')


def test_a_password_goes_in_the_open_to_this_machine_only(file: Path) -> None:
    for host in ("localhost", "127.0.0.1", "::1"):
        file.write_text(FULL.replace('"starttls"', '"none"').replace("mail.ferries.example", host))
        assert read().mail is not None
