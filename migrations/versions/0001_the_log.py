# ruff: noqa: S608 - the only things put into these statements are this file's own constants
"""The log, what is folded from it, and the triggers by which both databases keep it append-only.

The triggers stop mistakes and accidents. An owner of the database can drop them; that is what seals kept
elsewhere are for.
"""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0001"
down_revision = None

NO_FORERUNNER = "0" * 64

# Text compared by its characters alone, whatever the server's language.
Key = sa.Text().with_variant(postgresql.TEXT(collation="C"), "postgresql")
Serial = sa.BigInteger().with_variant(sa.Integer, "sqlite")


def upgrade() -> None:
    """There is no way back down: entries are never taken out of a log."""
    _truth()
    _private()
    _projections()
    _queues()
    if op.get_bind().dialect.name == "sqlite":
        _guard_sqlite()
    else:
        _guard_postgresql()


def _truth() -> None:
    op.create_table(
        "fleet_meta",
        sa.Column("name", Key, nullable=False),
        sa.Column("value", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_fleet_meta"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "log",
        sa.Column("machine", Key, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("code", Key),
        sa.Column("seq", sa.BigInteger, nullable=False),
        sa.Column("head", sa.Text, nullable=False),
        sa.Column("recorded_at", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("machine", name="pk_log"),
        sa.UniqueConstraint("code", name="uq_log_code"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "entry",
        sa.Column("machine", Key, nullable=False),
        sa.Column("seq", sa.BigInteger, nullable=False),
        sa.Column("id", Key, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("occurred_at", sa.BigInteger, nullable=False),
        sa.Column("recorded_at", sa.BigInteger, nullable=False),
        sa.Column("root", sa.Text),
        sa.Column("bytes", sa.LargeBinary, nullable=False),
        sa.Column("hash", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("machine", "seq", name="pk_entry"),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_entry_machine_occurred_at_seq", "entry", ["machine", "occurred_at", "seq"])
    op.create_table(
        "entry_id",
        sa.Column("id", Key, nullable=False),
        sa.Column("machine", Key, nullable=False),
        sa.Column("seq", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_entry_id"),
        sqlite_with_rowid=False,
    )


def _private() -> None:
    op.create_table(
        "private_word",
        sa.Column("machine", Key, nullable=False),
        sa.Column("entry", Key, nullable=False),
        sa.Column("item", Key, nullable=False),
        sa.Column("salt", sa.LargeBinary, nullable=False),
        sa.Column("content", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("machine", "entry", "item", name="pk_private_word"),
    )
    op.create_table(
        "pseudonym",
        sa.Column("machine", Key, nullable=False),
        sa.Column("person", Key, nullable=False),
        sa.Column("reporter", Key, nullable=False),
        sa.PrimaryKeyConstraint("machine", "person", name="pk_pseudonym"),
        sa.UniqueConstraint("machine", "reporter", name="uq_pseudonym_machine_reporter"),
    )


def _projections() -> None:
    op.create_table(
        "snapshot",
        sa.Column("machine", Key, nullable=False),
        sa.Column("frontier_at", sa.BigInteger, nullable=False),
        sa.Column("frontier_seq", sa.BigInteger, nullable=False),
        sa.Column("seq", sa.BigInteger, nullable=False),
        sa.Column("state", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("machine", "frontier_at", "frontier_seq", name="pk_snapshot"),
    )
    op.create_table(
        "due",
        sa.Column("machine", Key, nullable=False),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("machine", name="pk_due"),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_due_at", "due", ["at"])
    op.create_table(
        "overdue",
        sa.Column("machine", Key, nullable=False),
        sa.Column("duty", Key, nullable=False),
        sa.Column("opened_by", Key, nullable=False),
        sa.Column("state", sa.LargeBinary, nullable=False),
        sa.Column("closed_at", sa.BigInteger),
        sa.Column("closed_seq", sa.BigInteger),
        sa.PrimaryKeyConstraint("machine", "duty", "opened_by", name="pk_overdue"),
    )
    op.create_table(
        "alert",
        sa.Column("serial", Serial, sa.Identity(), nullable=False),
        sa.Column("machine", Key, nullable=False),
        sa.Column("duty", Key, nullable=False),
        sa.Column("opened_by", Key, nullable=False),
        sa.Column("number", sa.BigInteger, nullable=False),
        sa.Column("due_at", sa.BigInteger, nullable=False),
        sa.Column("raised_at", sa.BigInteger, nullable=False),
        sa.Column("cleared_at", sa.BigInteger),
        sa.Column("outcome", sa.Text),
        sa.Column("acknowledged_until", sa.BigInteger),
        sa.Column("step", sa.BigInteger, nullable=False, server_default="0"),
        sa.Column("next_step_at", sa.BigInteger),
        sa.PrimaryKeyConstraint("serial", name="pk_alert"),
        sa.UniqueConstraint("machine", "duty", "opened_by", "number", name="uq_alert_machine_duty_opened_by_number"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_alert_cleared_at", "alert", ["cleared_at"])
    op.create_index("ix_alert_next_step_at", "alert", ["next_step_at"])
    op.create_table(
        "clock",
        sa.Column("name", Key, nullable=False),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("detail", sa.Text),
        sa.PrimaryKeyConstraint("name", name="pk_clock"),
        sqlite_with_rowid=False,
    )


def _queues() -> None:
    op.create_table(
        "notice",
        sa.Column("id", Key, nullable=False),
        sa.Column("person", Key, nullable=False),
        sa.Column("machine", Key, nullable=False),
        sa.Column("duty", sa.Text, nullable=False),
        sa.Column("opened_by", sa.Text, nullable=False),
        sa.Column("number", sa.BigInteger, nullable=False),
        sa.Column("tell", sa.Text, nullable=False),
        sa.Column("about", sa.LargeBinary, nullable=False),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("ready_at", sa.BigInteger, nullable=False),
        sa.Column("message", Key),
        sa.PrimaryKeyConstraint("id", name="pk_notice"),
    )
    op.create_index("ix_notice_message_ready_at", "notice", ["message", "ready_at"])
    op.create_table(
        "message",
        sa.Column("id", Key, nullable=False),
        sa.Column("message_id", Key, nullable=False),
        sa.Column("person", Key),
        sa.Column("route", sa.Text, nullable=False),
        sa.Column("address", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("subject", sa.Text, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("queued_at", sa.BigInteger, nullable=False),
        sa.Column("ready_at", sa.BigInteger, nullable=False),
        sa.Column("next_at", sa.BigInteger, nullable=False),
        sa.Column("not_after", sa.BigInteger),
        sa.Column("attempts", sa.BigInteger, nullable=False, server_default="0"),
        sa.Column("lease_until", sa.BigInteger),
        sa.Column("lease_by", sa.Text),
        sa.Column("sent_at", sa.BigInteger),
        sa.Column("error", sa.Text),
        sa.Column("follows", Key),
        sa.PrimaryKeyConstraint("id", name="pk_message"),
        sa.UniqueConstraint("message_id", name="uq_message_message_id"),
    )
    op.create_index("ix_message_state_next_at", "message", ["state", "next_at"])
    op.create_table(
        "confirmation",
        sa.Column("message", Key, nullable=False),
        sa.Column("route", Key, nullable=False),
        sa.Column("reference", Key, nullable=False),
        sa.Column("confirm_by", sa.BigInteger),
        sa.Column("arrived", sa.Integer),
        sa.Column("at", sa.BigInteger),
        sa.Column("detail", sa.Text),
        sa.PrimaryKeyConstraint("message", name="pk_confirmation"),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_confirmation_route_reference", "confirmation", ["route", "reference"])
    op.create_index("ix_confirmation_confirm_by", "confirmation", ["confirm_by"])
    op.create_table(
        "heard",
        sa.Column("id", Key, nullable=False),
        sa.Column("channel", sa.Text, nullable=False),
        sa.Column("sender", sa.Text, nullable=False),
        sa.Column("received_at", sa.BigInteger, nullable=False),
        sa.Column("text", sa.Text, nullable=False),
        sa.Column("outcome", sa.Text, nullable=False),
        sa.Column("reply", sa.Text),
        sa.Column("entries", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_heard"),
    )
    op.create_table(
        "told_day",
        sa.Column("person", Key, nullable=False),
        sa.Column("day", Key, nullable=False),
        sa.Column("count", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("person", "day", name="pk_told_day"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "letter",
        sa.Column("person", Key, nullable=False),
        sa.Column("day", Key, nullable=False),
        sa.PrimaryKeyConstraint("person", "day", name="pk_letter"),
        sqlite_with_rowid=False,
    )


# What the database says when it refuses. `logbook.store.log` knows a refusal by its first word.
CHANGE = "append-only: entries are never changed or removed"
TURN = "append-only: out of turn, seq is not one more than the last"
PREV = "append-only: the bytes do not name the hash of the entry before"
DATE = "append-only: recorded before the entry in front of it"

# In canonical bytes "prev" stands right before "private", and a quote inside a text is escaped: these characters
# can hardly come from anywhere but the field itself, and finding them costs less than parsing.
_SQLITE_PREV = f"""
    instr(NEW.bytes, CAST('"prev":"' || coalesce(
        (SELECT hash FROM entry WHERE machine = NEW.machine AND seq = NEW.seq - 1), '{NO_FORERUNNER}'
    ) || '","private":' AS BLOB)) = 0
"""


def _guard_sqlite() -> None:
    # The checks come before the insert, so that INSERT OR REPLACE finds its row refused as out of turn even on a
    # connection that forgot PRAGMA recursive_triggers; with it the delete trigger refuses as well.
    op.execute(f"""
        CREATE TRIGGER entry_in_turn BEFORE INSERT ON entry BEGIN
            SELECT RAISE(ABORT, '{TURN}')
                WHERE NEW.seq IS NOT 1 + coalesce((SELECT max(seq) FROM entry WHERE machine = NEW.machine), 0);
            SELECT RAISE(ABORT, '{PREV}') WHERE {_SQLITE_PREV};
            SELECT RAISE(ABORT, '{DATE}') WHERE NEW.recorded_at <
                (SELECT recorded_at FROM entry WHERE machine = NEW.machine AND seq = NEW.seq - 1);
        END
    """)
    op.execute("""
        CREATE TRIGGER entry_id_once BEFORE INSERT ON entry_id BEGIN
            SELECT RAISE(ABORT, 'append-only: this id is used already')
                WHERE EXISTS (SELECT 1 FROM entry_id WHERE id = NEW.id);
        END
    """)
    for table in ("entry", "entry_id"):
        for deed in ("UPDATE", "DELETE"):
            op.execute(f"""
                CREATE TRIGGER {table}_no_{deed.lower()} BEFORE {deed} ON {table} BEGIN
                    SELECT RAISE(ABORT, '{CHANGE}');
                END
            """)


def _guard_postgresql() -> None:
    op.execute(f"""
        CREATE FUNCTION logbook_refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN
            RAISE EXCEPTION '{CHANGE}' USING ERRCODE = 'restrict_violation';
        END $$
    """)
    op.execute(f"""
        CREATE FUNCTION logbook_in_turn() RETURNS trigger LANGUAGE plpgsql AS $$
        DECLARE
            last record;
        BEGIN
            SELECT seq, hash, recorded_at INTO last
                FROM entry WHERE machine = NEW.machine ORDER BY seq DESC LIMIT 1;
            IF NEW.seq <> coalesce(last.seq, 0) + 1 THEN
                RAISE EXCEPTION '{TURN}' USING ERRCODE = 'restrict_violation';
            END IF;
            IF position(
                convert_to('"prev":"' || coalesce(last.hash, '{NO_FORERUNNER}') || '","private":', 'UTF8') IN NEW.bytes
            ) = 0 THEN
                RAISE EXCEPTION '{PREV}' USING ERRCODE = 'restrict_violation';
            END IF;
            IF NEW.recorded_at < last.recorded_at THEN
                RAISE EXCEPTION '{DATE}' USING ERRCODE = 'restrict_violation';
            END IF;
            RETURN NEW;
        END $$
    """)
    # ALWAYS: also in a session that plays replica, where ordinary triggers sleep.
    _always("entry", "entry_in_turn", "BEFORE INSERT ON entry FOR EACH ROW EXECUTE FUNCTION logbook_in_turn()")
    for table in ("entry", "entry_id"):
        # By row and not by statement, so that partitions made later inherit them.
        for name, when in (
            (f"{table}_no_change", f"BEFORE UPDATE OR DELETE ON {table} FOR EACH ROW"),
            (f"{table}_no_truncate", f"BEFORE TRUNCATE ON {table} FOR EACH STATEMENT"),
        ):
            _always(table, name, f"{when} EXECUTE FUNCTION logbook_refuse_change()")
    # The rights of a role that runs the logbook but does not own it. Run by the owner, as often as one likes:
    #     SELECT logbook_grant_writer('role');
    op.execute("""
        CREATE FUNCTION logbook_grant_writer(role text) RETURNS void LANGUAGE plpgsql AS $$
        DECLARE
            name text;
        BEGIN
            EXECUTE format('GRANT USAGE ON SCHEMA %I TO %I', current_schema(), role);
            FOR name IN SELECT tablename FROM pg_tables WHERE schemaname = current_schema() LOOP
                EXECUTE format('REVOKE ALL ON %I FROM %I', name, role);
                IF name IN ('entry', 'entry_id') THEN
                    EXECUTE format('GRANT SELECT, INSERT ON %I TO %I', name, role);
                ELSIF name = 'alembic_version' THEN
                    EXECUTE format('GRANT SELECT ON %I TO %I', name, role);
                ELSE
                    EXECUTE format('GRANT SELECT, INSERT, UPDATE, DELETE ON %I TO %I', name, role);
                END IF;
            END LOOP;
            EXECUTE format('GRANT USAGE ON ALL SEQUENCES IN SCHEMA %I TO %I', current_schema(), role);
        END $$
    """)
    op.execute("REVOKE EXECUTE ON FUNCTION logbook_grant_writer(text) FROM PUBLIC")


def _always(table: str, name: str, trigger: str) -> None:
    op.execute(f"CREATE TRIGGER {name} {trigger}")
    op.execute(f"ALTER TABLE {table} ENABLE ALWAYS TRIGGER {name}")
