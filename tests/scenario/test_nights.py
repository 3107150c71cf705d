"""The scripts of scenario/nights, each played on the real program: intake, grammar, clock and messages."""

from __future__ import annotations

from pathlib import Path

import pytest

from scenario import script
from scenario.play import play
from scenario.stage import stage

FOLDER = Path(script.__file__).parent
NIGHTS = script.scripts()


@pytest.mark.parametrize("file", NIGHTS, ids=lambda file: file.stem)
def test_the_night_goes_as_the_script_says(file: Path, tmp_path: Path) -> None:
    story = script.read(file.read_text(encoding="utf-8"), file.name)
    with stage(story, FOLDER, tmp_path) as live:
        assert play(story, live, live.zone) == []


def test_there_are_eight_or_more_and_each_has_a_title() -> None:
    stories = [script.read(file.read_text(encoding="utf-8"), file.name) for file in NIGHTS]
    assert len(stories) >= 8
    assert all(story.title and story.nothing_else for story in stories)


@pytest.mark.parametrize("file", NIGHTS, ids=lambda file: file.stem)
def test_a_night_without_one_of_its_texts_is_not_the_same_night(file: Path, tmp_path: Path) -> None:
    """The scripts can fail: leave out one text on which the story hangs (the last, unless named)."""
    story = script.read(file.read_text(encoding="utf-8"), file.name)
    said = [step for step in story.steps if isinstance(step, script.Said)]
    needed = {
        "leaking": "B7H squeegee hose leaks 2 l per min",
        "worn-down": "C5H seg 1/4",
        "out-uncharged": "C4J prendi",
        "held": "T3R prendi",
    }
    gone = next((s for s in said if s.text == needed.get(file.stem)), said[-1])
    story.steps = [step for step in story.steps if step is not gone]
    with stage(story, FOLDER, tmp_path) as live:
        assert play(story, live, live.zone) != []
