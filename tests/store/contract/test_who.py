"""Sessions, links, shared phones, PINs, passkeys, challenges and attempts, alike in both databases."""

from __future__ import annotations

from logbook.store import Store, attempts, passkeys, pins, sessions, shared_phones
from logbook.store.passkeys import Challenge, Passkey
from logbook.store.sessions import Link, Session
from logbook.store.shared_phones import SharedPhone

ONE = Session("s1", "h1", "ann", "own", None, "Android", 10, 10, 100)


def test_a_session_lives_until_it_expires_ends_or_is_taken_away(store: Store) -> None:
    rows = [ONE, ONE._replace(id="s2", hash="h2"), ONE._replace(id="s3", hash="h3", person="bo")]
    for row in rows:
        store.write(lambda c, row=row: sessions.begin(c, row))  # type: ignore[misc]
    with store.read() as c:
        assert sessions.of_hash(c, "h1") == ONE
        assert sessions.of_hash(c, "s1") is None
        assert [row.id for row in sessions.of_person(c, "ann")] == ["s1", "s2"]
    assert ONE.lives(99)
    assert not ONE.lives(100)
    assert store.write(lambda c: sessions.end(c, "s1", 20))
    assert not store.write(lambda c: sessions.end(c, "s1", 21))
    assert store.write(lambda c: sessions.revoke_all(c, "ann", 30)) == 2
    with store.read() as c:
        ended, taken, other = (sessions.by_id(c, id_) for id_ in ("s1", "s2", "s3"))
    assert ended is not None
    assert taken is not None
    assert other is not None
    assert (ended.ended_at, ended.revoked_at, taken.revoked_at) == (20, 30, 30)
    assert not ended.lives(31)
    assert not taken.lives(31)
    assert other.lives(31)
    store.write(lambda c: sessions.seen(c, "s3", 40, 200))
    store.write(lambda c: sessions.forget_old(c, 150))
    with store.read() as c:
        assert sessions.by_id(c, "s1") is None
        kept = sessions.by_id(c, "s3")
        assert kept is not None
        assert (kept.seen_at, kept.expires_at) == (40, 200)


def test_a_link_is_spent_once_and_in_time(store: Store) -> None:
    link = Link("l1", "enter", "ann", None, "lee", 10, 50)
    store.write(lambda c: sessions.offer(c, link))
    store.write(lambda c: sessions.offer(c, link._replace(hash="l2")))
    with store.read() as c:
        assert sessions.link_of(c, "l1") == link
        assert sessions.link_of(c, "nothing") is None
    assert not store.write(lambda c: sessions.spend(c, "l2", 50))
    assert store.write(lambda c: sessions.spend(c, "l1", 49))
    assert not store.write(lambda c: sessions.spend(c, "l1", 49))
    with store.read() as c:
        spent = sessions.link_of(c, "l1")
    assert spent is not None
    assert spent.spent_at == 49


def test_a_shared_phone_that_was_taken_away_stays_in_its_sites_list(store: Store) -> None:
    phone = SharedPhone("p1", "h1", "north-slip", "Android", "lee", 10, 10)
    store.write(lambda c: shared_phones.add(c, phone))
    store.write(lambda c: shared_phones.add(c, phone._replace(id="p2", hash="h2", site="pier-4")))
    store.write(lambda c: shared_phones.seen(c, "p1", 20))
    assert store.write(lambda c: shared_phones.revoke(c, "p1", 30))
    assert not store.write(lambda c: shared_phones.revoke(c, "p1", 31))
    assert not store.write(lambda c: shared_phones.revoke(c, "nothing", 31))
    with store.read() as c:
        gone = phone._replace(seen_at=20, revoked_at=30)
        assert shared_phones.of_site(c, "north-slip") == [gone]
        assert shared_phones.of_hash(c, "h1") == shared_phones.by_id(c, "p1") == gone
        assert shared_phones.of_hash(c, "p1") is None


def test_a_person_has_one_pin(store: Store) -> None:
    store.write(lambda c: pins.put(c, "ann", "first", 1))
    store.write(lambda c: pins.put(c, "ann", "second", 2))
    with store.read() as c:
        assert pins.of(c, "ann") == "second"
        assert pins.of(c, "bo") is None
    assert store.write(lambda c: pins.drop(c, "ann"))
    assert not store.write(lambda c: pins.drop(c, "ann"))


def test_a_passkeys_counter_never_goes_back(store: Store) -> None:
    key = Passkey("k1", "ann", b"\x00\xff", 0, "Windows", 10)
    store.write(lambda c: passkeys.add(c, key))
    assert store.write(lambda c: passkeys.used(c, "k1", 0, 11))  # one that does not count
    assert store.write(lambda c: passkeys.used(c, "k1", 7, 12))
    assert not store.write(lambda c: passkeys.used(c, "k1", 7, 13))
    assert not store.write(lambda c: passkeys.used(c, "k1", 0, 13))
    assert store.write(lambda c: passkeys.used(c, "k1", 8, 14))
    with store.read() as c:
        assert passkeys.of_person(c, "ann") == [key._replace(sign_count=8, used_at=14)]
        assert passkeys.of(c, "k2") is None
    assert not store.write(lambda c: passkeys.drop(c, "k1", "bo"))
    assert store.write(lambda c: passkeys.drop(c, "k1", "ann"))


def test_a_challenge_is_taken_once_and_in_time(store: Store) -> None:
    for number in range(3):
        row = Challenge(f"c{number}", bytes([number, 255]), "ann" if number else None, 100 + number)
        store.write(lambda c, row=row: passkeys.ask(c, row))  # type: ignore[misc]
    assert store.write(lambda c: passkeys.take(c, "c0", 50)) == Challenge("c0", b"\x00\xff", None, 100)
    assert store.write(lambda c: passkeys.take(c, "c0", 50)) is None
    assert store.write(lambda c: passkeys.take(c, "c1", 101)) is None
    store.write(lambda c: passkeys.forget_old(c, 103))
    assert store.write(lambda c: passkeys.take(c, "c2", 50)) is None


def test_attempts_are_counted_by_span_and_failures_in_a_row(store: Store) -> None:
    assert [store.write(lambda c: attempts.count(c, "mail:x", 10)) for _ in range(3)] == [1, 2, 3]
    assert store.write(lambda c: attempts.count(c, "mail:x", 20)) == 1
    assert store.write(lambda c: attempts.count(c, "mail:y", 10)) == 1
    store.write(lambda c: attempts.failed(c, "ann", 1, 5))
    store.write(lambda c: attempts.failed(c, "ann", 2, 30))
    with store.read() as c:
        assert attempts.failures(c, "ann") == (2, 30)
        assert attempts.failures(c, "bo") == (0, 0)
    store.write(lambda c: attempts.forget_old(c, 15))
    assert store.write(lambda c: attempts.count(c, "mail:x", 10)) == 1
    assert store.write(lambda c: attempts.count(c, "mail:x", 20)) == 2
    store.write(lambda c: attempts.clear(c, "ann"))
    with store.read() as c:
        assert attempts.failures(c, "ann") == (0, 0)


def test_what_other_rooms_count_is_not_forgotten_with_ours(store: Store) -> None:
    from logbook.store import api_keys

    store.write(lambda c: api_keys.count(c, "key:1", 3, 1))
    store.write(lambda c: attempts.forget_old(c, 10**15))
    assert store.write(lambda c: api_keys.count(c, "key:1", 3, 1)) == 2
