"""The name of an entry in a chain of corrections: that of the chain's first, however much of the chain is known."""

from __future__ import annotations

from logbook.domain.history import Entry, History


def entry(seq: int, id: str, *, name: str | None = None, **data: str) -> Entry:
    return Entry(seq, id, "rinse", seq, seq, name or id, dict(data))


def test_a_chain_has_the_name_of_its_first_entry() -> None:
    history = History()
    chain = [entry(1, "a"), entry(2, "b", corrects="a"), entry(3, "c", corrects="b")]
    for one in chain:
        history.add(one)
    assert [one.name for one in chain] == ["a", "a", "a"]


def test_a_name_that_comes_from_the_log_is_kept() -> None:
    """The log keeps each chain's first entry; what lies between may have been read without its data."""
    history = History()
    history.add(entry(1, "a"))
    history.add(entry(2, "b", name="a"))
    last = entry(3, "c", name="a", corrects="b")
    history.add(last)
    assert last.name == "a"
