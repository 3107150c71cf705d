"""Short names of what was done and of who did it, for history, answers and alerts.

Promises a label for every kind of the catalogue, in the past tense, and that a person is only ever called by a role:
a role that is unknown is "somebody", so that a name put in its place by mistake is not shown.
"""

from __future__ import annotations

from logbook.domain.wording import speech
from logbook.domain.wording.mark import mark

ENTRIES: dict[str, str] = {
    "start": mark("started"),
    "put_away": mark("put away"),
    "not_used": mark("stood unused"),
    "prepared": mark("looked over"),
    "empty": mark("emptied"),
    "rinse": mark("rinsed"),
    "fill": mark("clean water filled"),
    "squeegee": mark("squeegee wiped"),
    "wipe": mark("wiped down"),
    "charge": mark("put on charge"),
    "unplug": mark("taken off charge"),
    "watering": mark("battery watered"),
    "filter": mark("filter cleaned"),
    "gravity": mark("specific gravity read"),
    "hours": mark("hour meter read"),
    "segments": mark("segments measured"),
    "segment_change": mark("new segments fitted"),
    "fault": mark("fault reported"),
    "photo": mark("photograph added"),
    "repair_requested": mark("repair asked for"),
    "repaired": mark("repaired"),
    "note": mark("remark made"),
    "void": mark("entry struck"),
    "excused": mark("duty excused"),
    "commissioned": mark("commissioned"),
    "moved": mark("moved to another site"),
    "battery_fitted": mark("new battery fitted"),
    "out_of_service": mark("taken out of service"),
    "in_service": mark("put back in service"),
    "held": mark("held, not to be run"),
    "released": mark("released to run"),
    "retired": mark("retired"),
    "alert_raised": mark("alert raised"),
    "alert_escalated": mark("alert passed on"),
    "alert_cleared": mark("alert cleared"),
    "acknowledged": mark("alert taken in hand"),
    "passed_on": mark("asked somebody to see to it"),
    "ordered": mark("parts ordered"),
    "received": mark("parts received"),
    "counted": mark("parts counted"),
    "key_out": mark("key handed out"),
    "key_back": mark("key handed back"),
    "trained": mark("training given"),
    "name_opened": mark("name looked up"),
    "fleet_founded": mark("fleet founded"),
    "site_set": mark("site set"),
    "machine_set": mark("machine set"),
    "settings": mark("policy changed"),
    "join_word": mark("joining word changed"),
    "person_set": mark("person set"),
    "person_left": mark("person left"),
    "joined": mark("joined by the plate's word"),
    "accepted": mark("number accepted"),
    "set_aside": mark("number set aside"),
    "opted_out": mark("messages stopped"),
    "opted_in": mark("messages wanted again"),
    "erased": mark("private words erased"),
}

ROLES: dict[str, str] = {
    "cleaner": mark("cleaner"),
    "keeper": mark("keeper"),
    "supervisor": mark("supervisor"),
    "owner": mark("owner"),
    "clock": mark("clock"),
    "program": mark("program"),
}
_SOMEBODY = mark("somebody")


def entry_label(kind: str, language: str) -> str:
    """What an entry of this kind says was done: "put on charge". A kind without a label is shown by its own name."""
    label = ENTRIES.get(kind)
    return kind.replace("_", " ") if label is None else speech(language, "alerts")(label)


def role_label(role: str, language: str) -> str:
    """Who, by role: "cleaner". Anything that is no role is "somebody"."""
    return speech(language, "alerts")(ROLES.get(role, _SOMEBODY))
