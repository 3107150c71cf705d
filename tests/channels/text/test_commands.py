"""Texts that are no entries, and the order in which troubles are told."""

from __future__ import annotations

import pytest


@pytest.mark.parametrize(
    "text", ["STOP", "stop.", "Stopall", "quit", "END", "revoke", "cancel", "unsubscribe", "opt out", "baja", "STOP!!"]
)
def test_carriers_words_for_no_more(text, kinds):
    assert kinds(text) == ["!opt_out"]


@pytest.mark.parametrize("text", ["start", "YES", "unstop"])
def test_carriers_words_for_again(text, kinds):
    assert kinds(text) == ["!opt_in"]


@pytest.mark.parametrize("text", ["help", "HELP?", "info", "ayuda", "Ayuda!"])
def test_help(text, kinds):
    assert kinds(text) == ["!help"]


def test_carriers_words_are_theirs_only_as_a_whole_text(kinds):
    assert kinds("B7H start") == ["start"]
    assert kinds("B7H stop") == ["?unknown_word"]
    assert kinds("B7H end") == ["?unknown_word"]
    assert kinds("B7H help") == ["?ambiguous_word"]


@pytest.mark.parametrize(
    ("text", "argument"),
    [
        ("undo", {"machine": None}), ("UNDO b7h", {"machine": "B7H"}), ("deshacer", {"machine": None}),
        ("borrar B7H, gracias", {"machine": "B7H"}),
    ],
)  # fmt: skip
def test_undo(text, argument, ask):
    assert (ask(text).control, ask(text).argument) == ("undo", argument)


@pytest.mark.parametrize(
    ("text", "refused"),
    [
        ("undo rinse", "ambiguous_word"), ("undo?", "ambiguous_word"), ("undo B7H C4J", "which_machine"),
        ("undo B8H", "mistyped_machine"), ("don't undo", "negated"), ("undo 0510", "ambiguous_word"),
        ("B7H rinse undo", "ambiguous_word"), ("undoo", "unknown_word"),
    ],
)  # fmt: skip
def test_undo_is_never_guessed(text, refused, kinds):
    assert kinds(text) == [f"?{refused}"]


def test_what_is_owed(ask):
    for text in ("owed", "owed?", "pendiente", "¿pendiente?"):
        assert (ask(text).control, ask(text).argument) == ("owed", {"machine": None})
    assert ask("B7H owed").argument == {"machine": "B7H"}


@pytest.mark.parametrize(("text", "number"), [("seen 41", 41), ("visto #7", 7), ("SEEN 41.", 41)])
def test_seen(text, number, ask):
    assert (ask(text).control, ask(text).argument) == ("seen", {"number": number})


@pytest.mark.parametrize(
    ("text", "refused"),
    [
        ("seen", "needs_quantity"), ("seen 41 42", "conflicting"), ("seen 4.1", "ambiguous_number"),
        ("seen -4", "ambiguous_number"), ("seen 99999999999999999999", "ambiguous_number"),
        ("seen 41?", "ambiguous_word"),
    ],
)  # fmt: skip
def test_seen_needs_its_number(text, refused, kinds):
    assert kinds(text) == [f"?{refused}"]


@pytest.mark.parametrize(
    ("text", "word", "name"),
    [
        ("join gannet Ana", "gannet", "Ana"), ("JOIN Gannet Ana María  Ruiz", "gannet", "Ana María Ruiz"),
        ("entrar álcatraz José", "alcatraz", "José"), ("join: gannet, Jo\nMarsh", "gannet,", "Jo Marsh"),
    ],
)  # fmt: skip
def test_join(text, word, name, ask):
    assert ask(text).control == "join"
    assert ask(text).argument == {"word": word.rstrip(","), "name": name}


def test_join_needs_word_and_name(kinds):
    assert kinds("join") == ["?nothing_to_do"]
    assert kinds("join gannet") == ["?nothing_to_do"]


@pytest.mark.parametrize(
    ("text", "control", "to"),
    [
        ("ok 41", "accept", "41"), ("OK +1 902 555 0142", "accept", "+19025550142"),
        ("no 555-0142", "set_aside", "5550142"),
        ("No 7.", "set_aside", "7"),
    ],
)  # fmt: skip
def test_an_answer_about_a_new_number(text, control, to, ask):
    assert (ask(text).control, ask(text).argument) == (control, {"to": to})


@pytest.mark.parametrize(
    "text", ["", " ", "ok", "thanks!", "hola", "B7H", "👍", "0510", "B7H ok gracias", "B7H 0510", "."]
)
def test_nothing_to_do(text, kinds):
    assert kinds(text) == ["?nothing_to_do"]


@pytest.mark.parametrize(
    ("text", "refused"),
    [
        ("B8H foo 60 l plug unplug", "mistyped_machine"),
        ("B7H foo 60 l plug unplug", "unknown_word"),
        ("foo not rinsed 60 l", "unknown_word"),
        ("not foo rinsed 60 l", "negated"),
        ("rinsed 60 l plug unplug 0530", "unknown_number"),
        ("plug unplug 0530", "conflicting"),
        ("rinsed 0530", "which_machine"),
        ("B7H rinsed 0530", "future_time"),
    ],
)
def test_the_order_of_refusals(text, refused, kinds):
    assert kinds(text) == [f"?{refused}"]


@pytest.mark.parametrize(
    "text", ["B7H plug unplug", "B7H unplugged 2200 charged 0500", "B7H not used, parked", "B7H start unused"]
)
def test_what_does_not_go_together(text, kinds):
    assert kinds(text) == ["?conflicting"]


def test_said_twice_is_said_once(kinds, ask):
    assert kinds("B7H empty empty emptied") == ["empty"]
    assert kinds("B7H put away parked") == ["put_away"]
    assert ask("B7H fill 60 l filled 60 l").drafts[0].data == {"water_ml": 60_000}


def test_a_text_too_long_for_a_note_is_refused_whole(ask):
    reading = ask("B7H fault " + "x" * 4_000)
    assert (reading.refused, reading.drafts) == ("out_of_range", ())
