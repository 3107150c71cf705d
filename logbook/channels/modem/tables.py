"""The daemon's tables: the few statements that we say to them, and the ways in which its two databases differ.

Promises to write what its documentation has clients write, and nothing else: `Processed` of the inbox, and new rows of
the outbox. Never makes a table or a file. (None of this is the log's database; that one is the store's alone.)

What was met in the daemon's own databases, version 1.42, and is allowed for here:
- it compares an outbox row's SendingDateTime, which SQLite fills in by UTC, with its own wall clock. West of Greenwich
  a message left to that default waits for hours; so we write an instant long gone.
- it writes ReceivingDateTime by its wall clock, but UpdatedInDB is UTC in SQLite and the session's zone in PostgreSQL.
  So how long ago something was is asked of the database, which knows its own clock, and never computed here.
- TextDecoded of a long text's first part holds the whole text, and that of the others nothing; Text (UCS-2 in
  hexadecimal) holds each part's own.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any, NamedTuple
from urllib.parse import quote

from sqlalchemy import Connection, Engine, bindparam, create_engine, event, text
from sqlalchemy.pool import NullPool

from logbook.channels.modem.settings import ModemSettings

_AGE = {
    "sqlite": """CAST(strftime('%s', 'now') AS INTEGER) - CAST(strftime('%s', "UpdatedInDB") AS INTEGER)""",
    "postgresql": """CAST(EXTRACT(EPOCH FROM LOCALTIMESTAMP(0) - "UpdatedInDB") AS bigint)""",
}
# What is put into statements below stands in this file (hence each "noqa: S608"); what people wrote is always bound.
_LONG_AGO = "'2000-01-01 00:00:00'"


class Row(NamedTuple):
    """A row of the inbox. `received` is by the daemon's wall clock; `age` in seconds since it was written down."""

    id: int
    received: str
    sender: str
    centre: str
    coding: str
    header: str
    kind: int
    hexadecimal: str
    decoded: str
    age: int


class State(NamedTuple):
    """A part of a message of ours that the daemon has dealt with. `arrived` as `received` of `Row`."""

    id: int
    part: int
    status: str
    code: int
    arrived: str | None
    header: str
    age: int


class Tables:
    """Opened by each call and closed by it: the daemon may be away, moved or restored between two."""

    def __init__(self, settings: ModemSettings) -> None:
        url = settings.url
        self.kind = url.get_backend_name()
        self._phone = settings.phone
        # Names the tables in the ids of texts: without a password, which may change.
        place = url.set(password=None, username=None, query={}).render_as_string()
        self.name = hashlib.sha256(f"{place} {url.query.get('host', '')!s}".encode()).hexdigest()[:8]
        self._engine = _sqlite(url.database or "", settings.timeout) if self.kind == "sqlite" else create_engine(
            url, poolclass=NullPool,
            connect_args={"connect_timeout": max(2, int(settings.timeout)),
                          "options": f"-c statement_timeout={int(settings.timeout * 1000)}"},
        )  # fmt: skip

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """One view of all tables. Raises sqlalchemy.exc.DBAPIError for whatever the database does."""
        with self._engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """One transaction, kept at the end. Raises as `reading`."""
        with self._engine.connect().execution_options(logbook_writes=True) as connection, connection.begin():
            yield connection

    # -- what came in -------------------------------------------------------------------------------------------

    def waiting(self, connection: Connection, most: int) -> list[Row]:
        """What nobody has dealt with, oldest first. A daemon's own, if it is named."""
        rows = connection.execute(
            text(
                f"""SELECT "ID", CAST("ReceivingDateTime" AS text), "SenderNumber", "SMSCNumber", "Coding", "UDH",
                "Class", "Text", "TextDecoded", {_AGE[self.kind]} FROM inbox
                WHERE "Processed" = 'false' AND (:phone = '' OR "RecipientID" = :phone) ORDER BY "ID" LIMIT :most"""  # noqa: S608
            ),
            {"most": most, "phone": self._phone},
        )
        return [Row(*row) for row in rows]

    def done(self, connection: Connection, ids: Sequence[int]) -> None:
        """Never again."""
        statement = text("""UPDATE inbox SET "Processed" = 'true' WHERE "ID" IN :ids""")
        connection.execute(statement.bindparams(bindparam("ids", expanding=True)), {"ids": list(ids)})

    # -- what goes out ------------------------------------------------------------------------------------------

    def find(self, connection: Connection, creator: str) -> tuple[int, list[str]] | None:
        """Our message's number and how its parts fared (none while it waits, for then the daemon may be trying it
        again); the latest, if there are several."""
        # In this order: the daemon writes down that it has sent a message before it takes it out of the outbox.
        for table in ("outbox", "sentitems"):
            rows = connection.execute(
                text(f"""SELECT "ID", "Status" FROM {table} WHERE "CreatorID" = :creator ORDER BY "ID" DESC"""),  # noqa: S608
                {"creator": creator},
            ).all()
            if rows:
                return rows[0][0], [status for id_, status in rows if table != "outbox" and id_ == rows[0][0]]
        return None

    def queue(
        self, connection: Connection, creator: str, number: str, parts: Sequence[str], *, coding: str, report: str
    ) -> int:
        """Put a message down to be sent; answers with its number. `header` is made of that number when there are parts."""
        given: dict[str, Any] = {
            "number": number, "coding": coding, "creator": creator, "report": report, "phone": self._phone or None,
            "multi": "true" if len(parts) > 1 else "false",
            "hexadecimal": _hexadecimal(parts[0]), "decoded": parts[0],
        }  # fmt: skip
        id_ = connection.execute(
            text(
                f"""INSERT INTO outbox ("DestinationNumber", "Text", "TextDecoded", "Coding", "CreatorID", "SenderID",
                "DeliveryReport", "MultiPart", "SendingDateTime", "SendingTimeOut")
                VALUES (:number, :hexadecimal, :decoded, :coding, :creator, :phone, :report,
                {"CAST(:multi AS boolean)" if self.kind == "postgresql" else ":multi"}, {_LONG_AGO}, {_LONG_AGO})
                RETURNING "ID" """  # noqa: S608
            ),
            given,
        ).scalar_one()
        return int(id_)

    def head(self, connection: Connection, id_: int, header: str) -> None:
        """The first part's header, which is made of the message's number and so comes after it."""
        connection.execute(
            text("""UPDATE outbox SET "UDH" = :header WHERE "ID" = :id"""), {"header": header, "id": id_}
        )

    def join(self, connection: Connection, id_: int, number: int, words: str, *, coding: str, header: str) -> None:
        """A further part, from the second on."""
        connection.execute(
            text(
                """INSERT INTO outbox_multipart ("ID", "SequencePosition", "Text", "TextDecoded", "Coding", "UDH")
                VALUES (:id, :number, :hexadecimal, :decoded, :coding, :header)"""
            ),
            {"id": id_, "number": number, "hexadecimal": _hexadecimal(words), "decoded": words, "coding": coding,
             "header": header},
        )  # fmt: skip

    def sign(self, connection: Connection) -> tuple[int, bool] | None:
        """Seconds since the daemon last touched its modem's row, and whether it is set to send; None: it never has."""
        row = connection.execute(
            text(
                f"""SELECT {_AGE[self.kind]} AS age, CAST("Send" AS text) FROM phones
                WHERE :phone = '' OR "ID" = :phone ORDER BY age LIMIT 1"""  # noqa: S608
            ),
            {"phone": self._phone},
        ).one_or_none()
        return None if row is None else (int(row[0]), str(row[1]).lower() in ("yes", "true", "1"))

    def states(self, connection: Connection, within: int) -> list[State]:
        """All parts of those of our messages of which something has changed within so many seconds."""
        rows = connection.execute(
            text(
                f"""SELECT "ID", "SequencePosition", "Status", "StatusError", CAST("DeliveryDateTime" AS text), "UDH",
                {_AGE[self.kind]} FROM sentitems WHERE "ID" IN
                (SELECT "ID" FROM sentitems WHERE "CreatorID" LIKE '<%>' AND {_AGE[self.kind]} <= :within)
                ORDER BY "ID", "SequencePosition" """  # noqa: S608
            ),
            {"within": within},
        )
        return [State(*row) for row in rows]


def words_of(rows: Sequence[Row]) -> str:
    """The text of parts in order. Joined before it is read: a phone may cut a surrogate pair apart."""
    octets = b""
    for row in rows:
        try:
            own = bytes.fromhex(row.hexadecimal)
        except ValueError:
            own = b""
        octets += own if own and len(own) % 2 == 0 else row.decoded.encode("utf-16-be", "replace")
    # NUL cannot be kept as text by every database, and nobody types it.
    return octets.decode("utf-16-be", "replace").replace("\0", "\ufffd")


def _hexadecimal(words: str) -> str:
    return words.encode("utf-16-be", "replace").hex().upper()


def _sqlite(path: str, timeout: float) -> Engine:
    def connect() -> sqlite3.Connection:
        # mode=rw: a path that is wrong is told, and not answered with a new, empty file that the daemon never sees.
        return sqlite3.connect(
            f"file:{quote(path)}?mode=rw", uri=True, timeout=timeout, isolation_level=None, check_same_thread=False
        )

    engine = create_engine("sqlite://", creator=connect, poolclass=NullPool)

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        # A writer takes its turn at once: who reads first and writes then may be told that the tables are locked
        # without waiting at all.
        writes = connection.get_execution_options().get("logbook_writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine
