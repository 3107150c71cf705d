"""How often something was tried: counted in the database, so that a restart forgets nothing.

Two kinds of rows, both named by their caller: counts in a span of time (`count`), and a run of failures with the
instant of the last one (`failed`), after which a success begins anew. Names begin with `who:`; other rooms count in
the same table under names of their own. Never decides how often is too often.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, bindparam, delete, literal_column, select
from sqlalchemy.dialects import postgresql, sqlite

from logbook.store.statements import Ready
from logbook.store.tables import attempt

_a = attempt.c
_MINE = (_a.name >= literal_column("'who:'")) & (_a.name < literal_column("'who;'"))
_RUN = "who:run:"


def _ready(dialect: Any) -> Any:
    made = dialect.insert(attempt).values(name=bindparam("name"), span=bindparam("span"), count=bindparam("count"))
    return made.on_conflict_do_update(index_elements=["name", "span"], set_={"count": made.excluded["count"]})


def _counting(dialect: Any) -> Any:
    made = dialect.insert(attempt).values(
        name=bindparam("name"), span=bindparam("span"), count=literal_column("1")
    )  # fmt: skip
    return made.on_conflict_do_update(
        index_elements=["name", "span"], set_={"count": _a.count + literal_column("1")}
    ).returning(_a.count)


_COUNT = Ready(_counting(sqlite), "name", "span", other=_counting(postgresql))
_PUT = Ready(_ready(sqlite), "name", "span", "count", other=_ready(postgresql))
_LAST = Ready(
    select(_a.span, _a.count).where(_a.name == bindparam("name")).order_by(_a.span.desc()), "name"
)  # fmt: skip
_CLEAR = Ready(delete(attempt).where(_a.name == bindparam("name")), "name")
_OLD = Ready(delete(attempt).where(_MINE, _a.span < bindparam("before")), "before")


def count(connection: Connection, name: str, span: int) -> int:
    """Once more in the span that begins at this instant; answers with how often that makes."""
    return int(_COUNT.one(connection, f"who:{name}", span)[0])


def failures(connection: Connection, name: str) -> tuple[int, int]:
    """(how many in a row, the instant of the last), or (0, 0)."""
    row = _LAST.one(connection, _RUN + name)
    return (0, 0) if row is None else (int(row[1]), int(row[0]))


def failed(connection: Connection, name: str, count: int, at: int) -> None:
    """The so-manyth failure in a row was at this instant."""
    _CLEAR.run(connection, _RUN + name)
    _PUT.run(connection, _RUN + name, at, count)


def clear(connection: Connection, name: str) -> None:
    """What was failed was done at last: nothing is counted any more."""
    _CLEAR.run(connection, _RUN + name)


def forget_old(connection: Connection, before: int) -> None:
    """Leave nothing of what was counted before an instant."""
    _OLD.run(connection, before)
