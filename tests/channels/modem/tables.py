"""The daemon's tables, version 17, as its documentation describes them: every column, both databases."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, text

_TEXT = "{words} NOT NULL DEFAULT ''"
_CODING = "{words} NOT NULL DEFAULT 'Default_No_Compression'"
_STATUS = "{words} NOT NULL DEFAULT 'Reserved'"
_COLUMNS = {
    "gammu": {"Version": "integer PRIMARY KEY"},
    "inbox": {
        "UpdatedInDB": "{now}", "ReceivingDateTime": "{now}", "Text": "text NOT NULL", "SenderNumber": _TEXT,
        "Coding": _CODING, "UDH": "text NOT NULL", "SMSCNumber": _TEXT, "Class": "integer NOT NULL DEFAULT -1",
        "TextDecoded": _TEXT, "ID": "{serial}", "RecipientID": "text NOT NULL", "Processed": "{false}",
        "Status": "integer NOT NULL DEFAULT -1",
    },
    "outbox": {
        "UpdatedInDB": "{now}", "InsertIntoDB": "{now}", "SendingDateTime": "{now}",
        "SendBefore": "time NOT NULL DEFAULT '23:59:59'", "SendAfter": "time NOT NULL DEFAULT '00:00:00'",
        "Text": "text", "DestinationNumber": _TEXT, "Coding": _CODING, "UDH": "text", "Class": "integer DEFAULT -1",
        "TextDecoded": _TEXT, "ID": "{serial}", "MultiPart": "{false}", "RelativeValidity": "integer DEFAULT -1",
        "SenderID": "text", "SendingTimeOut": "{now}", "DeliveryReport": "{words} DEFAULT 'default'",
        "CreatorID": "text NOT NULL", "Retries": "integer DEFAULT 0", "Priority": "integer DEFAULT 0",
        "Status": _STATUS, "StatusCode": "integer NOT NULL DEFAULT -1",
    },
    "outbox_multipart": {
        "Text": "text", "Coding": _CODING, "UDH": "text", "Class": "integer DEFAULT -1", "TextDecoded": "text",
        "ID": "integer", "SequencePosition": "integer NOT NULL DEFAULT 1", "Status": _STATUS,
        "StatusCode": "integer NOT NULL DEFAULT -1", "": 'PRIMARY KEY ("ID", "SequencePosition")',
    },
    "phones": {
        "ID": "text NOT NULL", "UpdatedInDB": "{now}", "InsertIntoDB": "{now}", "TimeOut": "{now}", "Send": "{no}",
        "Receive": "{no}", "IMEI": "{words} PRIMARY KEY NOT NULL", "IMSI": "{words} NOT NULL", "NetCode": "{words}",
        "NetName": "{words}", "Client": "text NOT NULL", "Battery": "integer NOT NULL DEFAULT -1",
        "Signal": "integer NOT NULL DEFAULT -1", "Sent": "integer NOT NULL DEFAULT 0",
        "Received": "integer NOT NULL DEFAULT 0",
    },
    "sentitems": {
        "UpdatedInDB": "{now}", "InsertIntoDB": "{now}", "SendingDateTime": "{now}", "DeliveryDateTime": "{time}",
        "Text": "text NOT NULL", "DestinationNumber": _TEXT, "Coding": _CODING, "UDH": "text NOT NULL",
        "SMSCNumber": _TEXT, "Class": "integer NOT NULL DEFAULT -1", "TextDecoded": _TEXT, "ID": "integer",
        "SenderID": "{words} NOT NULL", "SequencePosition": "integer NOT NULL DEFAULT 1",
        "Status": "{words} NOT NULL DEFAULT 'SendingOK'", "StatusError": "integer NOT NULL DEFAULT -1",
        "TPMR": "integer NOT NULL DEFAULT -1", "RelativeValidity": "integer NOT NULL DEFAULT -1",
        "CreatorID": "text NOT NULL", "StatusCode": "integer NOT NULL DEFAULT -1",
        "": 'PRIMARY KEY ("ID", "SequencePosition")',
    },
}  # fmt: skip
_TYPES = {
    "sqlite": {
        "words": "TEXT", "now": "NUMERIC NOT NULL DEFAULT (datetime('now'))", "time": "NUMERIC",
        "serial": "INTEGER PRIMARY KEY AUTOINCREMENT", "false": "TEXT NOT NULL DEFAULT 'false'",
        "no": "TEXT NOT NULL DEFAULT 'no'",
    },
    "postgresql": {
        "words": "varchar(255)", "now": "timestamp(0) NOT NULL DEFAULT LOCALTIMESTAMP(0)", "time": "timestamp(0)",
        "serial": "serial PRIMARY KEY", "false": "boolean NOT NULL DEFAULT false",
        "no": "boolean NOT NULL DEFAULT false",
    },
}  # fmt: skip
_TOUCH = """CREATE FUNCTION touch() RETURNS trigger AS $$ BEGIN
NEW."UpdatedInDB" := LOCALTIMESTAMP(0); RETURN NEW; END; $$ LANGUAGE plpgsql"""


def columns(table: str) -> set[str]:
    return set(_COLUMNS[table]) - {""}


def make(connection: Connection) -> None:
    """Make all tables, and what keeps UpdatedInDB."""
    kind = connection.dialect.name
    for table, made in _COLUMNS.items():
        lines = [f'"{name}" {type_}' if name else type_ for name, type_ in made.items()]
        connection.exec_driver_sql(f"CREATE TABLE {table} ({', '.join(lines).format(**_TYPES[kind])})")
    connection.exec_driver_sql('INSERT INTO gammu ("Version") VALUES (17)')
    if kind == "postgresql":
        connection.exec_driver_sql(_TOUCH)
    for table, key in (("inbox", "ID"), ("outbox", "ID"), ("phones", "IMEI"), ("sentitems", "ID")):
        watch(connection, table, key)


def clear(connection: Connection) -> None:
    """Leave nothing of an earlier test (PostgreSQL)."""
    connection.exec_driver_sql("TRUNCATE inbox, outbox, outbox_multipart, phones, sentitems RESTART IDENTITY")


def watch(connection: Connection, table: str, key: str) -> None:
    """Keep UpdatedInDB of a table."""
    connection.exec_driver_sql(
        f"CREATE TRIGGER touch_{table} BEFORE UPDATE ON {table} FOR EACH ROW EXECUTE PROCEDURE touch()"
        if connection.dialect.name == "postgresql"
        else f"CREATE TRIGGER touch_{table} UPDATE ON {table} BEGIN UPDATE {table} "
        f"SET UpdatedInDB = datetime('now') WHERE {key} = old.{key}; END"
    )


def put(connection: Connection, table: str, **values: Any) -> None:
    """A row, by hand."""
    names = ", ".join(f'"{name}"' for name in values)
    connection.execute(
        text(f"INSERT INTO {table} ({names}) VALUES ({', '.join(':' + name for name in values)})"), values
    )
