"""deploy/gateway.md: its templates are read, and its commands run, as they stand there."""

from __future__ import annotations

import shutil
import subprocess
import time
from pathlib import Path

import pytest

from logbook.channels.desk import Message
from logbook.channels.gateway.incoming import make_app
from logbook.channels.gateway.settings import read
from tests.channels.gateway.playing import serving

PAGE = (Path(__file__).parents[3] / "deploy" / "gateway.md").read_text(encoding="utf-8")


def _blocks(language: str) -> list[str]:
    return [block.split("```")[0] for block in PAGE.split(f"```{language}\n")[1:]]


def _here(block: str, folder: Path) -> str:
    for name in ("gateway-secret", "gateway-token"):
        block = block.replace(f"/etc/logbook/{name}", str(folder / name))
    return block


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "gateway-secret").write_text("0123456789abcdef0123456789abcdef\n")
    (tmp_path / "gateway-token").write_text("t0ken\n")
    return tmp_path


def test_its_templates_are_good(folder):
    blocks = _blocks("toml")
    assert len(blocks) == 2
    for block in blocks:
        found = read(_here(block, folder))
        assert found.inward is not None
        assert found.out is not None


@pytest.mark.skipif(not (shutil.which("curl") and shutil.which("openssl")), reason="curl or openssl is not installed")
def test_its_commands_post_a_text_that_is_kept(folder):
    kept: list[Message] = []
    template = read(_here(_blocks("toml")[0], folder))
    script = _here(_blocks("sh")[-1], folder)
    assert "curl" in script
    with serving(make_app(template, kept.append, now=lambda: time.time_ns() // 1_000)) as port:
        script = script.replace("127.0.0.1:8741", f"127.0.0.1:{port}").replace("curl ", "curl --noproxy '*' ")
        ran = subprocess.run(["sh", "-c", script], capture_output=True, text=True, timeout=30, check=True)
        assert ran.stdout.startswith("HTTP/1.1 200 OK")
        wrong = script.replace('-hmac "$secret"', "-hmac another")
        assert subprocess.run(["sh", "-c", wrong], capture_output=True, text=True, timeout=30).stdout.startswith(
            "HTTP/1.1 401 Unauthorized"
        )
    (message,) = kept
    assert (message.id, message.sender, message.text) == ("gateway:try-1", "+19025550111", "B7H rinse")
