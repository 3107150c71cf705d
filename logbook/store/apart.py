"""Part of a transaction that can fail by itself: what else the transaction holds is kept.

Promises that a part which raises leaves nothing behind. For those who write several callers' things in one job.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import Any

from sqlalchemy import Connection


@contextlib.contextmanager
def apart(connection: Connection) -> Iterator[None]:
    """Whatever is raised inside is raised here, and nothing done inside is kept."""
    raw: Any = connection.connection.dbapi_connection
    raw.execute("SAVEPOINT part")
    try:
        yield
    except BaseException:
        # Where the disk is full SQLite may have rolled back everything by itself; whoever began it notices.
        with contextlib.suppress(Exception):
            raw.execute("ROLLBACK TO SAVEPOINT part")
            raw.execute("RELEASE SAVEPOINT part")
        raise
    raw.execute("RELEASE SAVEPOINT part")
