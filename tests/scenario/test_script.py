"""The plain-text form: what is read, what is refused and how, and that a play can fail in each way that it names."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from scenario.play import Happened, Reply, Told, play
from scenario.script import Answered, Entered, Expectation, Said, Script, ScriptError, read

HEAD = "# A night\nfleet fleet.toml\nfrom 2026-03-10 north-slip\n"
HALIFAX = ZoneInfo("America/Halifax")


def wall(day: int, hour: int, minute: int) -> datetime:
    return datetime(2026, 3, day, hour, minute)  # noqa: DTZ001 - what a wall shows


def story(*lines: str) -> Script:
    return read(HEAD + "\n".join(lines), "a.night")


def test_a_script_is_read() -> None:
    made = story(
        'at 22:05 +19025550150 text "B7H start"',
        'answer has "Still owed"',
        "expect 05:50 alert charge B7H",
        'at 07:20 jo enters repair_requested B7H note="workshop comes"',
        "expect 07:21 cleared charge B7H late",
        "expect 07:22 mail to jo about B7H rinse and charge",
        "expect nothing else",
        "until 08:00",
    )
    assert (made.title, made.fleet, made.sites) == ("A night", "fleet.toml", ("north-slip",))
    assert made.steps == [
        Said(4, wall(10, 22, 5), "+19025550150", "B7H start"),
        Answered(5, "has", "Still owed"),
        Entered(7, wall(11, 7, 20), "jo", "repair_requested", "B7H", {"note": "workshop comes"}),
    ]
    assert made.expected == [
        Expectation(6, wall(11, 5, 50), "alert", "B7H", ("charge",)),
        Expectation(8, wall(11, 7, 21), "cleared", "B7H", ("charge",), outcome="late"),
        Expectation(9, wall(11, 7, 22), "mail", "B7H", ("rinse", "charge"), person="jo"),
    ]
    assert made.nothing_else
    assert made.until == wall(11, 8, 0)


def test_a_day_can_be_named() -> None:
    made = story('at 22:05 +19025550150 text "x"', "on 2026-03-14", 'at 05:00 +19025550150 text "y"')
    assert [step.at.day for step in made.steps if isinstance(step, Said)] == [10, 14]


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        (["tell jo"], "line 4: 'tell' begins no line; begin it with fleet, from"),
        (['at 22:05 +19025550150 text "B7H'], "line 4: a quotation mark has no partner"),
        (["at 22:05 B7H start"], "line 4: this is neither a text nor an entry"),
        (['at 22:05 ana text "B7H start"'], "line 4: 'ana' is no number"),
        (['at 25:05 +19025550150 text "B7H start"'], "line 4: '25:05' is no time; write it like 05:50"),
        (['at 06:05 +19025550150 text "x"', "expect 05:20 alert rinse B7H"], "line 5: 05:20 lies 20 hours and more"),
        (["expect 05:20 alert rinse B7H", "on 2026-03-10"], "line 5: 2026-03-10 is over already"),
        (["on tomorrow"], "line 4: 'tomorrow' is no date; write it like 2026-03-09"),
        (['answer has "x"'], "line 4: there is no text above to answer"),
        (['at 22:05 +19025550150 text "x"', "answer maybe"], "line 5: this says nothing of an answer"),
        (["expect 05:50 cleared charge B7H done"], "an outcome is one of late, told_late"),
        (["expect 05:50 mail to jo"], "line 4: this is no expectation"),
        (["expect something"], "line 4: too little is expected"),
        (["at 22:05 jo enters held T3R why"], "line 4: 'why' gives no field"),
        ([], "nothing happens in this script"),
    ],
)
def test_a_mistake_is_told_with_its_file_and_line(lines: list[str], says: str) -> None:
    with pytest.raises(ScriptError) as refused:
        story(*lines)
    assert str(refused.value).startswith("a.night, line ")
    assert says in str(refused.value)
    assert str(refused.value).endswith("Nothing was played.")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("from 2026-03-10 north-slip", "line 1: no fleet file was named"),
        ("fleet fleet.toml\nfrom 2026-03-10", "line 2: a date and at least one site are wanted"),
        ('fleet fleet.toml\nat 22:05 +19025550150 text "x"', "line 2: the night has not begun"),
        ("fleet", "line 1: one fleet file is wanted"),
    ],
)
def test_what_comes_first_must_come_first(text: str, says: str) -> None:
    with pytest.raises(ScriptError, match=says):
        read(text, "a.night")


# ---------------------------------------------------------------- playing, on a stage of cardboard


@dataclass
class Cardboard:
    """A stage on which happens what the test says."""

    happened: list[Happened] = field(default_factory=list)
    told: list[Told] = field(default_factory=list)
    reply: Reply = field(default_factory=lambda: Reply(True, "B7H 22:05 started."))
    heard: list[tuple[str, datetime]] = field(default_factory=list)

    def text(self, sender: str, text: str, at: datetime) -> Reply:
        self.heard.append((text, at))
        return self.reply

    def enter(self, person: str, kind: str, machine: str, data: dict[str, str], at: datetime) -> None:
        self.heard.append((kind, at))

    def wait(self, until: datetime) -> None:
        pass

    def alerts(self) -> list[Happened]:
        return self.happened

    def messages(self) -> list[Told]:
        return self.told


def utc(day: int, hour: int, minute: int) -> datetime:
    return datetime(2026, 3, day, hour, minute, tzinfo=UTC)


def test_wall_clock_times_are_those_of_the_site() -> None:
    stage = Cardboard()
    assert play(story('at 22:05 +19025550150 text "B7H start"'), stage, HALIFAX) == []
    assert stage.heard == [("B7H start", utc(11, 1, 5))]  # UTC-3 from 8 March 2026


@pytest.mark.parametrize(
    ("line", "good", "bad"),
    [
        ("answer saved", Reply(True, "x"), Reply(False, "x")),
        ("answer refused", Reply(False, "x"), Reply(True, "x")),
        ("answer none", Reply(True, None), Reply(True, "x")),
        ('answer has "owed"', Reply(True, "still owed"), Reply(True, "nothing")),
        ('answer lacks "owed"', Reply(True, "nothing"), Reply(True, "still owed")),
        ('answer lacks "owed"', Reply(True, "nothing"), Reply(True, None)),
    ],
)
def test_answers_are_held_against_the_script(line: str, good: Reply, bad: Reply) -> None:
    told = story('at 22:05 +19025550150 text "B7H start"', line)
    assert play(told, Cardboard(reply=good), HALIFAX) == []
    (wrong,) = play(told, Cardboard(reply=bad), HALIFAX)
    assert wrong.startswith("a.night, line 5: the answer was")


RAISED = Happened(utc(11, 8, 50), "B7H", "charge", None)
MAIL = Told(utc(11, 8, 50), "jo", "alert", frozenset({("B7H", "charge")}), "", "")


def test_what_is_expected_must_happen_at_its_moment() -> None:
    told = story("expect 05:50 alert charge B7H", "expect 05:50 mail to jo about B7H charge", "expect nothing else")
    assert play(told, Cardboard([RAISED], [MAIL]), HALIFAX) == []
    late = Happened(utc(11, 8, 51), "B7H", "charge", None)
    wrong = play(told, Cardboard([late], [MAIL]), HALIFAX)
    assert wrong[0] == (
        "a.night, line 4: expected 2026-03-11 05:50:00 alert charge B7H; there was 2026-03-11 05:51:00 alert charge B7H"
    )
    assert "nothing else was expected" in wrong[1]


@pytest.mark.parametrize(
    "other",
    [
        Happened(utc(11, 8, 50), "C4J", "charge", None),
        Happened(utc(11, 8, 50), "B7H", "rinse", None),
        Happened(utc(11, 8, 50), "B7H", "charge", "late"),
    ],
)
def test_another_alert_is_not_the_one(other: Happened) -> None:
    assert len(play(story("expect 05:50 alert charge B7H"), Cardboard([other]), HALIFAX)) == 1


def test_a_mail_about_more_than_was_expected_or_to_another_is_not_the_one() -> None:
    told = story("expect 05:50 mail to jo about B7H charge")
    for other in (
        Told(MAIL.at, "jo", "alert", frozenset({("B7H", "charge"), ("B7H", "rinse")}), "", ""),
        Told(MAIL.at, "ines", "alert", MAIL.about, "", ""),
        Told(MAIL.at, "jo", "letter", MAIL.about, "", ""),
    ):
        assert len(play(told, Cardboard([], [other]), HALIFAX)) == 1


def test_one_happening_answers_one_expectation() -> None:
    told = story("expect 05:50 alert charge B7H", "expect 05:50 alert charge B7H")
    assert len(play(told, Cardboard([RAISED]), HALIFAX)) == 1


def test_a_letter_is_not_something_else() -> None:
    letter = Told(utc(11, 9, 30), "jo", "letter", frozenset({("B7H", "charge")}), "", "")
    assert play(story('at 22:05 +19025550150 text "x"', "expect nothing else"), Cardboard([], [letter]), HALIFAX) == []
