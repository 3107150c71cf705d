"""What an alert says of each duty: what is wrong, what it can cost, what to do next, and which care to take.

Promises one complete set of words a duty, and that "nobody has reported it" is never told as "it was not done": the
log knows what it heard. No money is named, for nobody here knows the price; the thing that breaks is. Words that
would turn a quoted line into an entry are left out on purpose ("something is wrong", not the shorter word).
"""

from __future__ import annotations

from dataclasses import dataclass

from logbook.domain.wording import speech
from logbook.domain.wording.cautions import ACID, BARE, BATTERY, DRAIN, FLOOR, HEADS
from logbook.domain.wording.mark import mark


@dataclass(frozen=True, slots=True)
class DutyWords:
    """The words of one duty, in English, which is also their key in the catalogues.

    `label` names the duty in a list, `title` says in a subject what is wrong, `happened` in a sentence. `cost`: what it
    can come to. `do`: what the reader does next; `brief`: the same in a text message. `last`: the acts that show by
    whom the machine was last seen to, the latest of them is told. `at_once`: due the moment it is known.
    """

    label: str
    title: str
    happened: str
    cost: str
    do: str
    brief: str
    last: tuple[str, ...]
    cautions: tuple[str, ...] = ()
    at_once: bool = False


_USE = ("start", "put_away", "unplug")

WORDS: dict[str, DutyWords] = {
    "rinse": DutyWords(
        label=mark("tank rinse"),
        title=mark("dirty-water tank not emptied and rinsed"),
        happened=mark("nobody has reported the dirty-water tank emptied and rinsed."),
        cost=mark("what dries in the tank blocks the float, water reaches the vacuum motor, and the motor burns out."),
        do=mark("have the tank emptied and rinsed, its strainer basket and float with it."),
        brief=mark("Have the tank emptied and rinsed."),
        last=_USE,
        cautions=(DRAIN, FLOOR),
    ),
    "charge": DutyWords(
        label=mark("battery charge"),
        title=mark("not reported on charge"),
        happened=mark("nobody has reported the machine put on charge."),
        cost=mark("left empty, the battery's plates sulphate, which ends in a new battery set; and the machine "
                  "stops halfway through its next night."),
        do=mark("have the machine plugged in, and have someone see that the charger starts."),
        brief=mark("Have it plugged in."),
        last=_USE,
        cautions=(BATTERY,),
    ),
    "watering": DutyWords(
        label=mark("battery watering"),
        title=mark("battery water overdue"),
        happened=mark("nobody has reported the battery watered in time."),
        cost=mark("plates that fall dry are lost for good: a battery set."),
        do=mark("have it charged, then topped up with distilled water until the plates are just covered. If plates "
                "are bare, cover them first, charge, then top up."),
        brief=mark("Have it watered after charging; bare plates are covered first."),
        last=("watering",),
        cautions=(BATTERY, ACID),
    ),
    "filter": DutyWords(
        label=mark("clean-water filter"),
        title=mark("clean-water filter not cleaned"),
        happened=mark("nobody has reported the clean-water filter cleaned in time."),
        cost=mark("a clogged filter starves the heads: segments run hot, wear out early and scratch the floor."),
        do=mark("have the filter taken out, washed and put back."),
        brief=mark("Have it taken out and washed."),
        last=("filter",),
        cautions=(HEADS, FLOOR),
    ),
    "squeegee": DutyWords(
        label=mark("squeegee check"),
        title=mark("squeegee check missing"),
        happened=mark("nobody has reported the squeegee wiped and checked."),
        cost=mark("grit in it draws lines on a finished floor, and the water it leaves makes people slip."),
        do=mark("have it wiped clean and looked over for cuts."),
        brief=mark("Have it wiped and looked over."),
        last=_USE,
        cautions=(HEADS, FLOOR),
    ),
    "prepared": DutyWords(
        label=mark("look-over before the start"),
        title=mark("started without a look-over"),
        happened=mark("it was started, and nobody has reported looking it over first."),
        cost=mark("a loose segment that nobody saw is a scratched floor."),
        do=mark("have it stopped, and its segments, squeegee, hoses and cables looked over."),
        brief=mark("Have it stopped and looked over."),
        last=("start",),
        cautions=(HEADS,),
    ),
    "segments": DutyWords(
        label=mark("segment measuring"),
        title=mark("segments not measured"),
        happened=mark("nobody has reported how much abrasive is left on the segments."),
        cost=mark("worn out unseen, they leave bare metal on the floor: a scratched floor."),
        do=mark("have what is left on each head measured, and the lengths reported in mm or inches."),
        brief=mark("Have each head measured."),
        last=("segments", "segment_change"),
        cautions=(HEADS, BARE),
    ),
    "segments_low": DutyWords(
        label=mark("segments to order"),
        title=mark("segments low, order now"),
        happened=mark("the segments are down to the length at which new ones are ordered."),
        cost=mark("if new ones come too late, the machine stands idle or bare metal scratches the floor."),
        do=mark("order a set, and enter the order on the machine's page."),
        brief=mark("Order a set."),
        last=("segments",),
        cautions=(BARE, HEADS),
        at_once=True,
    ),
    "segments_gone": DutyWords(
        label=mark("bare head"),
        title=mark("bare head, do not run"),
        happened=mark("a head has no abrasive left."),
        cost=mark("bare metal cuts rings into the floor, and only grinding takes them out."),
        do=mark("have the machine stopped, and leave it standing until new segments are on."),
        brief=mark("Stop it until new segments are on."),
        last=("start", "segments"),
        cautions=(BARE, HEADS),
        at_once=True,
    ),
    "fault": DutyWords(
        label=mark("answer to what is wrong"),
        title=mark("something is wrong, no answer yet"),
        happened=mark("somebody reported that something is wrong, and nobody has asked for a repair."),
        cost=mark("left alone, a small part becomes a motor, a spoilt floor or somebody hurt."),
        do=mark("read the report, hold the machine if in doubt, and ask for a repair on its page."),
        brief=mark("Read it, hold the machine if in doubt, ask for a repair."),
        last=("fault",),
        cautions=(HEADS, BATTERY),
    ),
    "repair": DutyWords(
        label=mark("repair"),
        title=mark("repair overdue"),
        happened=mark("a repair was asked for, and nobody has reported it done."),
        cost=mark("the machine fails in the middle of a night, or stands while its floor goes dull."),
        do=mark("call whoever was asked, settle a day, and hold the machine if it is not safe to run."),
        brief=mark("Call whoever was asked and settle a day."),
        last=("repair_requested",),
        cautions=(HEADS, BATTERY),
    ),
    "held_start": DutyWords(
        label=mark("start while it must not run"),
        title=mark("started, but must not run"),
        happened=mark("it was started although it is held or out of service."),
        cost=mark("somebody may get hurt, and the floor or the machine spoilt."),
        do=mark("have it stopped and the key taken out, and find out why it is held before it runs again."),
        brief=mark("Have it stopped, key out."),
        last=("start",),
        cautions=(HEADS,),
        at_once=True,
    ),
    "delivery": DutyWords(
        label=mark("delivery"),
        title=mark("order not received"),
        happened=mark("what was ordered for the machine has not been reported received."),
        cost=mark("without its parts the machine soon stands idle or scratches the floor."),
        do=mark("call the supplier and get a day; when it is there, enter it as received on the machine's page."),
        brief=mark("Call the supplier and get a day."),
        last=("ordered",),
    ),
    "night": DutyWords(
        label=mark("word of the night"),
        title=mark("no word of the night"),
        happened=mark("nobody has said whether it was used that night."),
        cost=mark("a dirty tank and an empty battery stay unseen until a vacuum motor or a battery set is lost."),
        do=mark("call the site and ask if it was used. If so, have it rinsed, plugged in and reported; if it stood "
                "still, have that reported."),
        brief=mark("Call the site and ask."),
        last=("put_away", "start", "not_used"),
        cautions=(BATTERY, DRAIN, FLOOR),
    ),
}  # fmt: skip
"""Every duty's words. A duty without an entry here fails the tests, not a message at night."""


def duty_label(duty: str, language: str) -> str:
    """The duty as a list names it, in lower case: "tank rinse". Raises KeyError for a duty that does not exist."""
    return speech(language, "alerts")(WORDS[duty].label)
