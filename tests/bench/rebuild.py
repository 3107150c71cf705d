"""Rebuilding one machine from its log, every duty on; and loading one from what was kept of it.

Ours reads the rows and folds them into the machine's facts and duties; the row that verifies the chain computes
every hash again, reads every entry's bytes strictly, and compares every column. Theirs reads its events and applies
them; it has no chain to verify. With snapshots it does not rebuild: that is set against our own kept fold.
"""

from __future__ import annotations

from pathlib import Path

from logbook.domain.machine import Machine
from logbook.domain.watchman import Watchman
from logbook.evidence.audit import audit
from logbook.store import folds, log
from tests.bench.harness import Row, Size, duel, timed
from tests.bench.ours import Ours
from tests.bench.peer import SETTINGS, Peer
from tests.bench.tellings import years

ENTRIES = 10_000


def run(folder: Path, size: Size) -> list[Row]:
    """The rows of this file."""
    told = years(1, size.of(ENTRIES, 200))
    ours = Ours(folder)
    machine = ours.fill(told)
    book = ours.book(machine)

    def fold() -> Machine:
        made = Machine(book=book)
        with ours.store.read() as connection:
            for entry in folds.effective(connection, machine):
                made.hear(entry)
        return made

    def verified() -> None:
        with ours.store.read() as connection:
            assert audit(log.by_seq(connection, machine)).entries == len(told)
        fold()

    rows = []
    struck = {one.data["entry"] for one in told if one.kind == "void"}
    latest = {one.kind: one.occurred_at for one in told if one.id not in struck}
    for name in ("default", "orjson"):
        peer = Peer(folder, SETTINGS[name])
        theirs = peer.new()
        peer.append(theirs, told)
        assert peer.rebuild(theirs).entries == len(told)
        assert fold().last["start"][0] == latest["start"]
        for what, goal, work in (("rebuilt", 15.0, fold), ("rebuilt, chain verified", 8.0, verified)):
            ratios, mine, other = duel(timed(work), timed(lambda: peer.rebuild(theirs)), size.rounds)  # noqa: B023 run here
            rows.append(
                Row(
                    f"{len(told):,} entries {what}", mine, f"{other}, {peer.settings.name}", "latest start, all heard",
                    ratios, goal if name == "default" else None,
                )
            )  # fmt: skip
    rows.append(_kept(folder, size, ours, machine))
    return rows


def _kept(folder: Path, size: Size, ours: Ours, machine: str) -> Row:
    """What is read before an append: our newest state with its alerts, their snapshot."""
    told = years(1, size.of(ENTRIES, 200))
    peer = Peer(folder, SETTINGS["snapshots"])
    theirs = peer.new()
    peer.append(theirs, told)
    peer.app.take_snapshot(theirs)
    book = ours.book(machine)

    def keep(connection: object) -> None:
        watchman = folds.rebuild(connection, machine, book)  # type: ignore[arg-type]
        folds.save(connection, machine, len(told), watchman)  # type: ignore[arg-type]

    ours.store.write(keep)

    def load() -> Watchman:
        with ours.store.read() as connection:
            return folds.load(connection, machine, book)

    many = size.of(200, 2)
    mine_all = timed(lambda: [load() for _ in range(many)])
    theirs_all = timed(lambda: [peer.rebuild(theirs) for _ in range(many)])
    ratios, mine, other = duel(mine_all, theirs_all, size.rounds)
    return Row(
        f"loaded {many} times from what is kept", mine, f"{other}, {peer.settings.name}", "the newest state", ratios
    )
