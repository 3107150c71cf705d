"""What the pages need beside the log: who is signed in where, links, PINs, passkeys, keys of other programs, limits.

None of it is history: it can all be lost without a word of the log being lost, and is erased with its person.
"""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0002"
down_revision = "0001"

# Text compared by its characters alone, whatever the server's language.
Key = sa.Text().with_variant(postgresql.TEXT(collation="C"), "postgresql")


def upgrade() -> None:
    """There is no way back down: entries are never taken out of a log."""
    _ways_in()
    _proofs()
    _programs()


def _ways_in() -> None:
    op.create_table(
        "session",
        sa.Column("id", Key, nullable=False),
        sa.Column("hash", Key, nullable=False),
        sa.Column("person", Key, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("phone", Key),
        sa.Column("label", sa.Text, nullable=False),
        sa.Column("made_at", sa.BigInteger, nullable=False),
        sa.Column("seen_at", sa.BigInteger, nullable=False),
        sa.Column("expires_at", sa.BigInteger, nullable=False),
        sa.Column("ended_at", sa.BigInteger),
        sa.Column("revoked_at", sa.BigInteger),
        sa.PrimaryKeyConstraint("id", name="pk_session"),
        sa.UniqueConstraint("hash", name="uq_session_hash"),
    )
    op.create_index("ix_session_person", "session", ["person"])
    op.create_table(
        "link",
        sa.Column("hash", Key, nullable=False),
        sa.Column("purpose", sa.Text, nullable=False),
        sa.Column("person", Key),
        sa.Column("site", Key),
        sa.Column("made_by", Key),
        sa.Column("made_at", sa.BigInteger, nullable=False),
        sa.Column("expires_at", sa.BigInteger, nullable=False),
        sa.Column("spent_at", sa.BigInteger),
        sa.PrimaryKeyConstraint("hash", name="pk_link"),
    )
    op.create_table(
        "shared_phone",
        sa.Column("id", Key, nullable=False),
        sa.Column("hash", Key, nullable=False),
        sa.Column("site", Key, nullable=False),
        sa.Column("label", sa.Text, nullable=False),
        sa.Column("made_by", Key),
        sa.Column("made_at", sa.BigInteger, nullable=False),
        sa.Column("seen_at", sa.BigInteger, nullable=False),
        sa.Column("revoked_at", sa.BigInteger),
        sa.PrimaryKeyConstraint("id", name="pk_shared_phone"),
        sa.UniqueConstraint("hash", name="uq_shared_phone_hash"),
    )


def _proofs() -> None:
    op.create_table(
        "pin",
        sa.Column("person", Key, nullable=False),
        sa.Column("hash", sa.Text, nullable=False),
        sa.Column("set_at", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("person", name="pk_pin"),
    )
    op.create_table(
        "passkey",
        sa.Column("id", Key, nullable=False),
        sa.Column("person", Key, nullable=False),
        sa.Column("public_key", sa.LargeBinary, nullable=False),
        sa.Column("sign_count", sa.BigInteger, nullable=False),
        sa.Column("label", sa.Text, nullable=False),
        sa.Column("made_at", sa.BigInteger, nullable=False),
        sa.Column("used_at", sa.BigInteger),
        sa.PrimaryKeyConstraint("id", name="pk_passkey"),
    )
    op.create_index("ix_passkey_person", "passkey", ["person"])
    op.create_table(
        "challenge",
        sa.Column("id", Key, nullable=False),
        sa.Column("challenge", sa.LargeBinary, nullable=False),
        sa.Column("person", Key),
        sa.Column("expires_at", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_challenge"),
    )
    op.create_table(
        "attempt",
        sa.Column("name", Key, nullable=False),
        sa.Column("span", sa.BigInteger, nullable=False),
        sa.Column("count", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("name", "span", name="pk_attempt"),
        sqlite_with_rowid=False,
    )


def _programs() -> None:
    op.create_table(
        "api_key",
        sa.Column("id", Key, nullable=False),
        sa.Column("hash", Key, nullable=False),
        sa.Column("label", sa.Text, nullable=False),
        sa.Column("may", sa.Text, nullable=False),
        sa.Column("sites", sa.Text, nullable=False),
        sa.Column("person", Key),
        sa.Column("made_by", Key),
        sa.Column("made_at", sa.BigInteger, nullable=False),
        sa.Column("used_at", sa.BigInteger),
        sa.Column("revoked_at", sa.BigInteger),
        sa.PrimaryKeyConstraint("id", name="pk_api_key"),
        sa.UniqueConstraint("hash", name="uq_api_key_hash"),
    )
