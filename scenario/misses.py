"""Nights on which something is missing, and exactly what ought to be noticed of it.

Each function is one story. What must be raised and cleared is said beside what is done, from the few rules that the
story needs: a duty of a use falls due a grace after its put-away, or ten hours and a grace after its start where no
put-away is heard of; what comes to light when it is overdue already is raised ten minutes later.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from scenario import walls
from scenario.book import Entry
from scenario.shift import CLOSING, LONGEST_USE, SETTLE, Shift, told

EMPTY, RINSE, SQUEEGEE, CHARGE, PARKED = CLOSING
AFTER_USE = ("rinse", "squeegee", "charge")


def _put_away(entries: Sequence[Entry]) -> datetime:
    return next(entry.occurred for entry in entries if entry.kind == "put_away")


def _forgotten(shift: Shift, duty: str, why: str) -> None:
    """All but one is done. The next night's makes up for a rinse or a wipe; a charge is overtaken by the next start."""
    shift.start()
    made = shift.close(shift.parked, without=[duty])
    put = _put_away(made)
    ends = shift.next({"start"}, put, "overtaken") if duty == "charge" else shift.next({duty}, put, "late")
    shift.expect(duty, shift.identity(made), put + shift.site.grace(duty), why, ends=ends)


def rinse_forgotten(shift: Shift) -> None:
    """Emptied, but not rinsed."""
    _forgotten(shift, "rinse", "emptied but never rinsed that night")


def squeegee_forgotten(shift: Shift) -> None:
    """The squeegee stays as it is."""
    _forgotten(shift, "squeegee", "the squeegee was not seen to that night")


def charge_forgotten(shift: Shift) -> None:
    """Parked, and the plug left hanging."""
    _forgotten(shift, "charge", "not put on charge: it went out uncharged the next night")


def _late(shift: Shift, duty: str, why: str) -> None:
    shift.start()
    made = shift.close(shift.parked, without=[duty])
    put = _put_away(made)
    done = shift.after(shift.rng.randrange(55, 100))
    shift.tell(done, [(duty, {})])
    shift.expect(duty, shift.identity(made), put + shift.site.grace(duty), why, ends=told(done, "late"))


def rinse_late(shift: Shift) -> None:
    """Rinsed an hour and more after."""
    _late(shift, "rinse", "rinsed, but long after it was put away")


def squeegee_late(shift: Shift) -> None:
    """Wiped an hour and more after."""
    _late(shift, "squeegee", "the squeegee was seen to, but long after")


def charge_late(shift: Shift) -> None:
    """On charge an hour and more after."""
    _late(shift, "charge", "put on charge, but long after")


def _told_late(shift: Shift, duty: str, why: str) -> None:
    shift.start()
    made = shift.close(shift.parked, without=[duty])
    put = _put_away(made)
    came = shift.after(shift.rng.randrange(80, 150))
    shift.tell(came, [(duty, {})], when=shift.after(-5))
    shift.expect(duty, shift.identity(made), put + shift.site.grace(duty), why, ends=told(came, "told_late"))


def rinse_told_late(shift: Shift) -> None:
    """Done in time; the word for it came later."""
    _told_late(shift, "rinse", "rinsed in time, told only after the alert")


def charge_told_late(shift: Shift) -> None:
    """Done in time; the word for it came later."""
    _told_late(shift, "charge", "put on charge in time, told only after the alert")


def unplugged(shift: Shift) -> None:
    """On charge, then off again for another machine's sake, and put away so."""
    shift.start()
    shift.tell(shift.after(-8), CLOSING[:4])
    shift.tell(shift.after(-3), [("unplug", {})])
    made = shift.tell(shift.parked, [PARKED])
    again = shift.after(95)
    shift.tell(again, [CHARGE])
    due = _put_away(made) + shift.site.grace("charge")
    shift.expect(
        "charge", shift.identity(made), due, "taken off charge again before it was put away", ends=told(again, "late")
    )


def closing_without_rinse_kept(shift: Shift) -> None:
    """The closing comes from a phone that had no signal, and the rinse is not in it: settled for ten minutes first."""
    shift.start()
    came = shift.after(shift.rng.randrange(50, 60))
    made = shift.tell_timed(came, [((EMPTY, SQUEEGEE), shift.after(-6)), ((CHARGE, PARKED), shift.parked)])
    put = _put_away(made)
    shift.expect(
        "rinse", shift.identity(made), put + shift.site.grace("rinse"), "kept on a phone, and no rinse in it",
        raised=came.replace(microsecond=0) + SETTLE, ends=shift.next({"rinse"}, put, "late"),
    )  # fmt: skip


def rinse_late_while_settling(shift: Shift) -> None:
    """As before, but rinsed, late, while news was still coming: raised and cleared in one breath."""
    shift.start()
    came = shift.after(shift.rng.randrange(50, 60)).replace(microsecond=0)
    made = shift.tell_timed(came, [((EMPTY, SQUEEGEE), shift.after(-6)), ((CHARGE, PARKED), shift.parked)])
    shift.tell(came + 6 * walls.MINUTE, [RINSE])
    shift.expect(
        "rinse", shift.identity(made), _put_away(made) + shift.site.grace("rinse"),
        "rinsed late, while late news settled", raised=came + SETTLE, ends=told(came + SETTLE, "late"),
    )  # fmt: skip


def silent(shift: Shift) -> None:
    """Not a word all night; whether it ran, nobody can say."""
    _night(shift, "not a word all night")


def silent_and_excused(shift: Shift) -> None:
    """Not a word all night, for a reason that the supervisor knows and enters."""
    at = shift.morning("09:40")
    name = f"{shift.site.code}/{shift.day.isoformat()}"
    shift.book.post(
        shift.boss, shift.code, "excused", at, duty="night", opened_by=name, why="terminal closed by the storm"
    )
    shift.expect(
        "night", name, shift.site.night_due(shift.day), "not a word all night, excused", ends=told(at, "excused")
    )


def _night(shift: Shift, why: str, came: datetime | None = None) -> None:
    name = f"{shift.site.code}/{shift.day.isoformat()}"
    ends = told(came, "told_late") if came else lambda _entries: None
    shift.expect("night", name, shift.site.night_due(shift.day), why, ends=ends)


def night_told_late(shift: Shift) -> None:
    """Start and closing were kept on the phone until the forenoon: only the night itself was missed."""
    came = shift.morning("09:10") + timedelta(minutes=shift.rng.randrange(0, 90))
    # One text: in pieces they would be open, overdue and settling one after another, which other stories show.
    acts = [((("start", {}),), shift.begun), (CLOSING[:3], shift.after(-8)), (CLOSING[3:], shift.parked)]
    if shift.site.prepared:
        acts[0] = ((("prepared", {}), ("start", {})), shift.begun)
    shift.tell_timed(came, acts)
    _night(shift, "the whole night was told in the forenoon", came)


def started_then_silent(shift: Shift) -> None:
    """Taken out and never heard of again: the night, and ten hours and a grace after the start all that a use owes."""
    start = shift.start()
    _night(shift, "started, and no more was heard")
    for duty in AFTER_USE:
        due = start.occurred + LONGEST_USE + shift.site.grace(duty)
        ends = (
            shift.next({"start"}, start.occurred, "overtaken")
            if duty == "charge"
            else shift.next({duty}, start.occurred, "late")
        )
        shift.expect(duty, start.id, due, "started, and no more was heard", ends=ends)


def closing_told_at_noon(shift: Shift) -> None:
    """Taken out, closed in order, and told so when the alerts were out: told late, all of it."""
    start = shift.start()
    came = start.occurred + LONGEST_USE + timedelta(minutes=shift.rng.randrange(75, 110))
    shift.tell_timed(came, [(CLOSING[:3], shift.after(-8)), (CLOSING[3:], shift.parked)])
    _night(shift, "the closing was told towards noon", came)
    for duty in AFTER_USE:
        due = start.occurred + LONGEST_USE + shift.site.grace(duty)
        shift.expect(duty, start.id, due, "the closing was told towards noon", ends=told(came, "told_late"))


def went_out_again(shift: Shift) -> None:
    """Put away, overdue, then taken back as a mistake: the machine was still at work, so nothing is due as yet."""
    start = shift.start()
    made = shift.tell(shift.after(12), [PARKED], when=shift.parked)
    put = _put_away(made)
    # Taken back before the longer of the site's graces is over would leave nothing to clear.
    back = shift.after(41)
    shift.book.undo(shift.who, back, "UNDO", made)
    for duty in AFTER_USE:
        due = put + shift.site.grace(duty)
        if due < back:
            shift.expect(duty, start.id, due, "put away by mistake, then taken back", ends=told(back, "not_due"))
    shift.close(shift.after(52))


def excused_rinse(shift: Shift) -> None:
    """The hall was cleared in a hurry; the supervisor excuses the rinse in the morning."""
    shift.start()
    made = shift.close(shift.parked, without=["empty", "rinse"])
    name, at = shift.identity(made), shift.morning("08:15")
    shift.book.post(
        shift.boss, shift.code, "excused", at, duty="rinse", opened_by=name, why="hall cleared by the fire alarm"
    )
    shift.expect(
        "rinse", name, _put_away(made) + shift.site.grace("rinse"), "excused in the morning", ends=told(at, "excused")
    )


def excused_in_time(shift: Shift) -> None:
    """The supervisor was there, and excused the squeegee before it was due: nothing to notice."""
    shift.start()
    made = shift.close(shift.parked, without=["squeegee"])
    name = shift.identity(made)
    shift.book.post(
        shift.boss, shift.code, "excused", shift.after(20), duty="squeegee", opened_by=name, why="blade taken off"
    )


def wrong_plate(shift: Shift) -> None:
    """Not used that night; somebody typed its plate for another's. The supervisor strikes it in the morning."""
    shift.tell(shift.begun, [("not_used", {})])
    made = shift.tell(shift.parked, [PARKED])
    struck = shift.morning("08:20")
    shift.book.strike(shift.boss, made[0], struck, "another machine was meant")
    for duty in AFTER_USE:
        due = made[0].occurred + shift.site.grace(duty)
        shift.expect(duty, made[0].id, due, "a plate typed for another's", ends=told(struck, "withdrawn"))


def not_used(shift: Shift) -> None:
    """Stayed where it was, and told so: nothing to notice."""
    shift.tell(shift.begun, [("not_used", {})])


def unprepared(shift: Shift) -> None:
    """Taken out without the look-over, which is made up for later."""
    start = shift.start(checked=False)
    looked = start.occurred + timedelta(minutes=shift.rng.randrange(30, 60))
    shift.tell(looked, [("prepared", {})])
    due = start.occurred + timedelta(minutes=15)
    shift.expect("prepared", start.id, due, "taken out without the look-over", ends=told(looked, "late"))
    shift.close(shift.parked)


def unprepared_and_excused(shift: Shift) -> None:
    """Taken out without the look-over; the supervisor excuses it, so that the next look-over is the next start's."""
    start = shift.start(checked=False)
    shift.close(shift.parked)
    at = shift.morning("08:05")
    shift.book.post(
        shift.boss, shift.code, "excused", at, duty="prepared", opened_by=start.id, why="looked over with him"
    )
    due = start.occurred + timedelta(minutes=15)
    shift.expect("prepared", start.id, due, "taken out without the look-over, excused", ends=told(at, "excused"))
