"""The only SQL: the log, what is folded from it, its private words and its queues.

Promises that nothing recorded is ever changed or removed, and that the same calls mean the same on SQLite and on
PostgreSQL. Never decides anything: what is written, and what follows from it, comes from above.
"""

from logbook.store.errors import (
    BusyError,
    DamagedError,
    DiskFullError,
    NewerDatabaseError,
    OlderDatabaseError,
    ReadOnlyError,
    RefusedError,
    StoreError,
    UnreachableError,
)
from logbook.store.writer import Store

__all__ = [
    "BusyError",
    "DamagedError",
    "DiskFullError",
    "NewerDatabaseError",
    "OlderDatabaseError",
    "ReadOnlyError",
    "RefusedError",
    "Store",
    "StoreError",
    "UnreachableError",
]
