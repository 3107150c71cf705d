"""What may go wrong in a command, and the one sentence in which it is told.

Promises a sentence for every refusal of the rooms below, and none for a defect: that comes up as it is.
"""

from __future__ import annotations

import sys


class Refusal(Exception):
    """A command cannot do what it was asked; the message is the sentence to show."""


def sentence_of(why: BaseException) -> str | None:
    """The sentence for a refusal, or None if this is no refusal but a defect."""
    if type(why).__module__.startswith("logbook."):
        # door.Refused, FleetFileError, PolicyError, LineRefused, StoreError, ConfigError: each is a sentence already.
        return str(why)
    store = sys.modules.get("logbook.store.errors")  # loaded if anything of the store's could have been raised
    if store is not None:
        if type(why) is LookupError:  # no fleet yet; a KeyError would be a defect
            return str(why)
        said = store.understood(why) if isinstance(why, Exception) else None
        if said is not None:
            return str(said)
    return None


def say(sentence: str) -> None:
    """Tell the one who typed the command, on stderr."""
    print(f"logbook: {' '.join(sentence.split())}", file=sys.stderr)
