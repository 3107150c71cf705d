"""Policy: the numbers in force for one machine, the narrower outweighing the wider.

Promises that a value is read or refused with a sentence, never bent, and that the same values always give the same
`Policy` object, so that the fold can ask for it once per duty. The numbers themselves stand in
`logbook.domain.policy_keys`; when they are in force, `logbook.domain.register` knows.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from rapidfuzz import fuzz, process

from logbook.domain.calendar import Duration, minutes_of_day
from logbook.domain.instants import Instant
from logbook.domain.policy_forms import Step, Value, duration_of, micrometres_of, quiet_of, steps_of
from logbook.domain.policy_keys import DUTIES, KEYS, Key

__all__ = ["DUTIES", "KEYS", "Key", "Policy", "PolicyError", "Step", "Value", "check", "check_change", "resolve"]


class PolicyError(ValueError):
    """A policy value that is not taken: which key, what is wrong with it, and what to do instead."""

    def __init__(self, key: str, what: str, instead: str) -> None:
        super().__init__(f"{what}. Nothing was changed; {instead}")
        self.key, self.what, self.instead = key, what, instead


def check(values: Mapping[str, Any]) -> dict[str, Value]:
    """The values in the one form in which they are kept, in the order given. No floats come out.

    Raises PolicyError for an unknown key, naming the nearest known one, and for a value that makes no sense.
    """
    return {name: _read(name, value) for name, value in values.items()}


def check_change(values: Mapping[str, Any]) -> dict[str, Value | None]:
    """Like `check`, for a change of policy, where None puts the wider number back."""
    changed: dict[str, Value | None] = {}
    for name, value in values.items():
        _known(name)
        changed[name] = None if value is None else _read(name, value)
    return changed


def _known(name: str) -> Key:
    key = KEYS.get(name)
    if key is None:
        near = process.extractOne(str(name), list(KEYS), scorer=fuzz.ratio, score_cutoff=55)
        instead = f'did you mean "{near[0]}"?' if near else "the policy page lists every name."
        raise PolicyError(str(name), f'"{name}" is not a number of policy', instead)
    return key


def _read(name: str, value: Any) -> Value:
    key = _known(name)
    try:
        return key.form.read(value)
    except ValueError as error:
        raise PolicyError(
            name, f'"{name}" = {_shown(value)} {error}', f"write for example {key.form.example}."
        ) from None


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else str(value)


@dataclass(frozen=True, slots=True, eq=False)
class Policy:
    """The numbers in force, ready for use. Durations that must be exact are in microseconds, lengths in um.

    Two policies of the same values are the same object, so they are compared and hashed by identity.
    """

    closing: Instant
    longest_use: Instant
    late_after: Instant
    settle: Instant
    day_turns: int | None
    night_grace: Duration
    night_window: Instant
    prepared_window: Instant
    reorder_um: int
    gather: Instant
    remind_before: Instant
    charge_before_night: Instant
    quiet: tuple[int, int] | None
    on: frozenset[str]
    values: Mapping[str, Value]
    _durations: dict[str, Duration]
    _steps: dict[str, tuple[Step, ...]]

    def duration(self, key: str) -> Duration:
        """The duration of that name. Raises KeyError if the name is no duration."""
        return self._durations[key]

    def number(self, key: str) -> int:
        """The whole number of that name."""
        value = self.values[key]
        if isinstance(value, bool) or not isinstance(value, int):
            raise KeyError(key)
        return value

    def flag(self, key: str) -> bool:
        """The switch of that name, on or off."""
        value = self.values[key]
        if not isinstance(value, bool):
            raise KeyError(key)
        return value

    def tell(self, duty: str) -> str:
        """How an alert of this duty is told: now, urgent, letter or none."""
        return str(self.values[f"{duty}.tell"])

    def acknowledge_for(self, duty: str) -> Duration:
        """How long an acknowledgement holds this duty's escalation."""
        return self._durations[f"{duty}.acknowledge_for"]

    def escalation(self, duty: str) -> tuple[Step, ...]:
        """The steps by which this duty's alerts are told."""
        return self._steps[duty]


def resolve(*levels: Mapping[str, Any]) -> Policy:
    """The policy of fleet, site and machine, in this order: the later outweighs. A None leaves the wider number.

    Raises PolicyError like `check`.
    """
    chosen: dict[str, Any] = {}
    for level in levels:
        chosen.update((name, value) for name, value in level.items() if value is not None)
    # True equals 1 and hashes like it, so the type is part of what is remembered.
    frozen = ((name, tuple(v) if isinstance(v, list) else v, type(v)) for name, v in chosen.items())
    return _built(frozenset(frozen))


@lru_cache(maxsize=4096)
def _built(chosen: frozenset[tuple[str, Any, type]]) -> Policy:
    given = check({name: value for name, value, _type in chosen})
    values: dict[str, Value] = {}
    for name, key in KEYS.items():
        value = given.get(name, key.default)
        if value is not None:
            values[name] = value
    durations = {
        name: duration_of(value)
        for name, value in values.items()
        if isinstance(value, str) and KEYS[name].form.name.endswith("duration")
    }
    turns, quiet = values["day_turns"], values["quiet"]
    exact = {name: duration.micros for name, duration in durations.items()}
    return Policy(
        closing=exact["closing"],
        longest_use=exact["longest_use"],
        late_after=exact["late_after"],
        settle=exact["settle"],
        day_turns=minutes_of_day(turns) if isinstance(turns, str) else None,
        night_grace=durations["night.grace"],
        night_window=exact["night.window"],
        prepared_window=exact["prepared.window"],
        reorder_um=micrometres_of(str(values["segments.reorder_at"])),
        gather=exact["gather"],
        remind_before=exact["remind_before"],
        charge_before_night=exact["charge_before_night"],
        quiet=quiet_of(quiet) if isinstance(quiet, str) else None,
        on=frozenset(duty for duty in DUTIES if values[duty] is True),
        values=MappingProxyType(values),
        _durations=durations,
        _steps={duty: _steps(values.get(f"{duty}.escalate", values["escalation"])) for duty in DUTIES},
    )


def _steps(value: Value) -> tuple[Step, ...]:
    return steps_of(value) if isinstance(value, list) else ()
