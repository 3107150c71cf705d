"""${message}"""

revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}


def upgrade() -> None:
    """There is no way back down: entries are never taken out of a log."""
    ${upgrades if upgrades else "pass"}
