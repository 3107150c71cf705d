"""A mail server that misbehaves on order: a few lines of SMTP, in the test's own event loop.

What it does at each step stands in its script; what it heard stands in its record. It speaks only as much of
RFC 5321 as the tests need, and it takes nothing on trust: a command that comes out of turn is answered 503.
"""

from __future__ import annotations

import asyncio
import contextlib
import ssl
from collections.abc import AsyncIterator
from dataclasses import dataclass, field

HANG = "hang"
DROP = "drop"
KEEP_AND_DROP = "keep and drop"
"""After the last dot: the message is taken, and the connection breaks before the answer."""


@dataclass
class Stub:
    """`script`: what is answered to a verb, one after another, the last for ever. `.` is the end of the message."""

    script: dict[str, list[str]] = field(default_factory=dict)
    offers: tuple[str, ...] = ("8BITMIME",)
    tls: ssl.SSLContext | None = None
    implicit: bool = False
    delay: float = 0.0
    heard: list[str] = field(default_factory=list)
    kept: list[tuple[str, bytes]] = field(default_factory=list)
    connections: int = 0
    open: int = 0
    port: int = 0

    def answer(self, verb: str, usual: str) -> str:
        answers = self.script.get(verb)
        if not answers:
            return usual
        return answers.pop(0) if len(answers) > 1 else answers[0]

    def verbs(self) -> list[str]:
        return [line.split(" ")[0].upper() for line in self.heard]

    @contextlib.asynccontextmanager
    async def run(self) -> AsyncIterator[Stub]:
        self._tasks: set[asyncio.Task[None]] = set()
        server = await asyncio.start_server(
            self._serve, "127.0.0.1", self.port, ssl=self.tls if self.implicit else None
        )
        self.port = server.sockets[0].getsockname()[1]
        try:
            yield self
        finally:
            server.close()
            for task in list(self._tasks):
                task.cancel()
            await asyncio.gather(*self._tasks, return_exceptions=True)
            await server.wait_closed()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._tasks.add(task)
        self.connections += 1
        self.open += 1
        try:
            await self._talk(reader, writer)
        except (ConnectionError, asyncio.IncompleteReadError, ssl.SSLError, asyncio.CancelledError):
            pass
        finally:
            self.open -= 1
            self._tasks.discard(task)
            writer.transport.abort()

    async def _say(self, writer: asyncio.StreamWriter, answer: str) -> bool:
        if answer == HANG:
            await asyncio.sleep(60)
        if answer in (DROP, HANG):
            return False
        await asyncio.sleep(self.delay)
        writer.write(answer.encode("utf-8", "surrogateescape") + b"\r\n")
        await writer.drain()
        return not answer.startswith("421")

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if not await self._say(writer, self.answer("banner", "220 stub")):
            return
        sender = recipient = None
        while True:
            line = (await reader.readuntil(b"\r\n")).decode().removesuffix("\r\n")
            self.heard.append(line)
            verb = line.split(" ")[0].upper()
            if verb == "EHLO":
                lines = ["stub", *self.offers]
                usual = "\r\n".join(f"250{'-' if n < len(lines) else ' '}{text}" for n, text in enumerate(lines, 1))
            elif verb == "STARTTLS" and self.tls is not None:
                writer.write(b"220 go on\r\n")
                await writer.drain()
                await writer.start_tls(self.tls)
                continue
            elif verb == "AUTH":
                usual = "235 welcome"
            elif verb == "MAIL":
                usual, sender = ("503 nested", sender) if sender else ("250 ok", line)
            elif verb == "RCPT":
                usual, recipient = ("503 no sender", None) if not sender else ("250 ok", line)
            elif verb == "RSET":
                usual, sender, recipient = "250 ok", None, None
            elif verb == "DATA":
                usual = "354 go on" if recipient else "503 nobody"
            elif verb == "QUIT":
                usual = "221 bye"
            else:
                usual = "250 ok"
            answer = self.answer(verb, usual)
            if not await self._say(writer, answer) or verb == "QUIT":
                return
            if verb in ("MAIL", "RCPT") and not answer.startswith("2"):
                sender, recipient = (None, None) if verb == "MAIL" else (sender, None)
            if verb == "DATA" and answer.startswith("354"):
                octets = await reader.readuntil(b"\r\n.\r\n")
                answer = self.answer(".", "250 taken")
                if answer.startswith("250") or answer == KEEP_AND_DROP:
                    self.kept.append((str(recipient), octets.removesuffix(b".\r\n").replace(b"\r\n..", b"\r\n.")))
                if answer == KEEP_AND_DROP or not await self._say(writer, answer):
                    return
                sender = recipient = None
