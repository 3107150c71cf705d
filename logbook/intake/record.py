"""The one door in: `record(drafts) -> Receipt`. Every channel, page and import writes through it, and nothing else.

Promises that what was answered is on the disk; that all drafts of one call are saved or none; that the same id
again is answered as the first time and adds nothing; and that an entry, the machine's new fold, its due instants
and the private words it commits to are one transaction. It never decides what an entry means: the domain does.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from sqlalchemy import Connection

from logbook.domain import door
from logbook.domain.book import MachineBook
from logbook.domain.instants import Instant
from logbook.domain.owed import Owed, owed_now
from logbook.domain.register import Register
from logbook.domain.watchman import Watchman
from logbook.evidence.form import NO_FORERUNNER
from logbook.intake.drafts import By, Draft, Receipt, Written
from logbook.intake.forming import Former, Place
from logbook.intake.visit import Visit
from logbook.store import Store, dues, folds, log
from logbook.store.registry import Registry


class Intake:
    """The door. `clock` gives the instant of recording; `draw` gives random bytes; `woken` hears of what is due."""

    def __init__(
        self, store: Store, registry: Registry, clock: Callable[[], Instant], draw: Callable[[int], bytes],
        new_id: Callable[[], str], woken: Callable[[Instant], None] = lambda _at: None,
    ) -> None:  # fmt: skip
        self.store = store
        self.registry = registry
        self.clock = clock
        self.new_id = new_id
        self.former = Former(draw, new_id)
        self.woken = woken

    def record(
        self, drafts: Sequence[Draft], by: By, *, also: Callable[[Connection, Receipt], None] | None = None
    ) -> Receipt:
        """Record drafts: all of them or none. Answers when they are on the disk.

        `also`: something to be kept in the same transaction, such as the text they came in. Raises door.Refused
        with the first thing that is wrong, and StoreError if the database fails; nothing was saved then.
        """

        def job(connection: Connection) -> Receipt:
            receipt = self.write(connection, drafts, by)
            if also is not None:
                also(connection, receipt)
            return receipt

        receipt = self.store.write(job)
        if receipt.next_at is not None:
            self.woken(receipt.next_at)
        return receipt

    def book(self, register: Register, machine: str) -> MachineBook:
        """The register as one machine's fold asks it."""
        return MachineBook(register, machine)

    def watchman(self, connection: Connection, register: Register, machine: str) -> Watchman:
        """What is known of a machine, as its last entry or the clock left it: whoever needs it now leads it on."""
        return folds.load(connection, machine, self.book(register, machine))

    # -- inside a transaction -----------------------------------------------------------------------------------

    def write(self, connection: Connection, drafts: Sequence[Draft], by: By) -> Receipt:
        """Record drafts in the transaction of this connection."""
        by_log: dict[str, list[Draft]] = {}
        for draft in drafts:
            by_log.setdefault(draft.log, []).append(draft)
        written: dict[str, Written] = {}
        owed: dict[str, tuple[Owed, ...]] = {}
        wakes: list[Instant] = []
        fleet = self.registry.fleet(connection)
        # In one order everywhere, so that two texts that name the same machines never wait for each other.
        for name in sorted(by_log):
            if name == fleet:
                written.update(self._write_fleet(connection, fleet, by_log[name], by))
                wakes.append(self.clock())
                continue
            visit = self.visit(connection, name)
            written.update((entry.id, entry) for entry in visit.add(by_log[name], by))
            following = visit.leave()
            if following is not None:
                wakes.append(following)
            owed[name] = owed_now(visit.watchman.machine, visit.now)
        return Receipt(tuple(written[draft.id] for draft in drafts), owed, min(wakes, default=None))

    def visit(self, connection: Connection, machine: str, now: Instant | None = None) -> Visit:
        """Open one machine's log for writing, its fold led up to now. Raises door.Refused for an unknown machine."""
        register = self.registry.current(connection)
        head = log.head(connection, machine, lock=True)
        if head is None or machine not in register.machines:
            raise door.Refused("unknown_machine", f"No machine {machine!r} is in this fleet. Nothing was saved.")
        moment = max(self.clock() if now is None else now, head.recorded_at)
        return Visit(self.former, connection, machine, register, head, moment)

    def _write_fleet(self, connection: Connection, fleet: str, drafts: Sequence[Draft], by: By) -> dict[str, Written]:
        """One after the other: what one says may be what the next one needs."""
        done: dict[str, Written] = {}
        for draft in drafts:
            head = log.head(connection, fleet, lock=True) or log.Head(0, NO_FORERUNNER, 0)
            now = max(self.clock(), head.recorded_at)
            register = self.registry.current(connection)
            origin = register.origin or (str(draft.data.get("origin") or "") if draft.kind == "fleet_founded" else "")
            if not origin:
                raise door.Refused(
                    "no_fleet", "This fleet has not been founded yet. Nothing was saved; see `logbook fleet apply`."
                )
            formed = self.former.form(connection, Place(fleet, origin, head, now, register), [draft], by)
            log.append(connection, fleet, formed.rows)
            done.update((entry.id, entry) for entry in formed.written)
        # Policy, a calendar or a person may have changed: every machine is looked at again.
        dues.put_all(connection, self.clock())
        return done
