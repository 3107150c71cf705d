"""The table of policy: every number an owner may set, with its default, its form and what it means.

The policy page, the command's help and the check of what is written are all made from this one table. Nothing here
knows fleets, sites or machines; `logbook.domain.policy` weighs those against each other.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from logbook.domain.policy_forms import DEPTH, HOURS, STEPS, SWITCH, TELLING, TIME, Form, Value, duration, number

DUTIES = (
    "rinse", "charge", "watering", "filter", "squeegee", "prepared", "segments", "segments_low", "segments_gone",
    "fault", "repair", "held_start", "delivery", "night",
)  # fmt: skip
"""Every duty, in the order of the rules."""


@dataclass(frozen=True, slots=True)
class Key:
    """One number of policy. `default` None: it follows the key named in `follows`."""

    name: str
    default: Value | None
    form: Form
    meaning: str
    follows: str | None = None

    @property
    def unit(self) -> str:
        """The unit, as the policy page shows it."""
        return self.form.unit


def _exact(low: str, high: str, example: str) -> Form:
    return duration(low, high, exact=True, example=example)


_GRACE = duration("PT0S", "P30D", exact=False, example='"PT30M"')
_SPAN = _exact("PT0S", "PT24H", '"PT2H"')
_EVERY = duration("PT1M", "P400D", exact=False, example='"P7D"')
_WITHIN = duration("PT0S", "P400D", exact=False, example='"P5D"')
_HOLD = duration("PT1M", "P90D", exact=False, example='"PT8H"')
_KEPT = duration("P1D", "P36525D", exact=False, example='"P90D"')

_TELL = {
    "rinse": "now", "charge": "now", "watering": "now",
    "segments_gone": "urgent", "held_start": "urgent", "fault": "urgent",
}  # fmt: skip
_ACKNOWLEDGE = {"segments_low": "P7D", "repair": "P1D"}

_MACHINE = (
    Key("closing", "PT2H", _SPAN,
        "How long before a put-away its closing work may lie; how long after a cut-off one still ends the use."),
    Key("longest_use", "PT10H", _exact("PT1M", "PT168H", '"PT10H"'),
        "How long a use stays open after its latest start."),
    Key("late_after", "PT12H", _exact("PT0S", "PT720H", '"PT12H"'),
        "How far behind its recording an entry may lie before it is shown as recorded late."),
    Key("day_turns", "12:00", TIME,
        "When one working day turns into the next: what is due in whole days is due at this time. false: no turn."),
    Key("settle", "PT10M", _SPAN,
        "How long late news may go on arriving before an alert is raised about the past."),
    Key("rinse.grace", "PT30M", _GRACE,
        "How long after the put-away the tank must be emptied and rinsed."),
    Key("charge.grace", "PT30M", _GRACE,
        "How long after the put-away the machine must be on charge."),
    Key("squeegee.grace", "PT30M", _GRACE,
        "How long after the put-away the squeegee must be seen to."),
    Key("prepared.grace", "PT15M", _GRACE,
        "How long after a start the look-over may still be reported."),
    Key("prepared.window", "PT2H", _SPAN,
        "How long before a start a look-over counts for it."),
    Key("watering.every", "P7D", _EVERY,
        "How often the water of a flooded battery is seen to; the battery maker's word comes first."),
    Key("filter.every", "P7D", _EVERY,
        "How often the clean-water filter is seen to."),
    Key("segments.every", "P14D", _EVERY,
        "How often the segments are measured."),
    Key("segments.reorder_at", "6.35 mm", DEPTH,
        "The abrasive left at which new segments are to be ordered."),
    Key("fault.answer_within", "PT4H", _WITHIN,
        "How soon a fault must be answered, by asking for a repair or making one."),
    Key("repair.within", "P5D", _WITHIN,
        "How soon a repair that was asked for must be done."),
    Key("delivery.within", "P10D", _WITHIN,
        "How soon what was ordered must come."),
    Key("night.grace", "PT1H", _GRACE,
        "How long after an expected night's end it must be accounted for."),
    Key("night.window", "PT1H", _SPAN,
        "How long before an expected night's beginning a put-away already accounts for it."),
)  # fmt: skip

_TOLD = (
    Key("escalation", ["PT0S supervisor", "PT2H owner"], STEPS,
        "Who is told, one after another: delay after the alert was told, role, and mail or text if need be."),
    Key("remind", True, SWITCH,
        "Whether the cleaner is reminded once, within the night."),
    Key("remind_before", "PT15M", _SPAN,
        "How long before the due instant, or the night's end, the reminder goes out."),
    Key("gather", "PT2M", _exact("PT0S", "PT2H", '"PT2M"'),
        "Alerts for one person that come due within this time share a message."),
    Key("quiet", "21:00-06:30", HOURS,
        "When only urgent alerts are sent; the morning letter goes out at its end."),
    Key("cap", 12, number(1, 1000),
        "Messages a person a day; past it things are gathered, never dropped."),
    Key("confirm_within", "PT10M", _exact("PT1M", "PT24H", '"PT10M"'),
        "How long a message's arrival, or a way that is away, is waited for before the reader's next way is tried."),
    Key("charge_before_night", "PT4H", _SPAN,
        "How long before its next night a machine that is still not on charge is told of."),
    Key("nights_untold_urgent", 3, number(1, 100),
        "So many nights running without a word are urgent."),
    Key("lone_machine", True, SWITCH,
        "Whether a text may leave out the code where there is one machine only."),
    Key("personal_word", False, SWITCH,
        "Whether new segments are taken by text only with the sender's own word in it."),
    Key("undo_within", "PT30M", _exact("PT0S", "PT24H", '"PT30M"'),
        "How long a text can be taken back by its sender."),
    Key("keep_texts", "P90D", _KEPT,
        "How long raw texts are kept; the local law decides."),
    Key("keep_photographs", "P365D", _KEPT,
        "How long photographs are kept; the local law decides."),
    Key("keep_private", "P730D", _KEPT,
        "How long other private words are kept; the local law decides."),
)  # fmt: skip


def _of_duty(duty: str) -> Iterator[Key]:
    """The numbers that every duty has."""
    yield Key(duty, duty != "prepared", SWITCH, f"Whether the duty `{duty}` is kept at all.")
    how = "now: when no quiet hours are; urgent: at any hour; letter: next morning; none: on the page alone."
    yield Key(f"{duty}.tell", _TELL.get(duty, "letter"), TELLING, how)
    hold = "How long an acknowledgement holds the escalation."
    yield Key(f"{duty}.acknowledge_for", _ACKNOWLEDGE.get(duty, "PT8H"), _HOLD, hold)
    who = "Who is told of this duty, one after another."
    yield Key(f"{duty}.escalate", None, STEPS, who, follows="escalation")


KEYS: dict[str, Key] = {
    key.name: key for key in (*_MACHINE, *(key for duty in DUTIES for key in _of_duty(duty)), *_TOLD)
}
"""Every number of policy, by name, in the order in which the policy page shows them."""
