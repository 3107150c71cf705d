"""Why a mail was kept aside, as a sentence for whoever looks after it."""

from __future__ import annotations

from enum import StrEnum


class Reason(StrEnum):
    """One sentence each, which is what is handed on (`Reason(sentence)` gives the reason back)."""

    MACHINE = "A machine sent this mail (RFC 3834), so it is not read as a report and not answered."
    NO_SENDER = "This mail does not name one sender with an address that could be answered."
    FORGED = "Our mail server found that this mail does not come from the sender it names."
    UNPROVED = "Our mail server did not say that this mail comes from the sender it names."
    UNCLEAR = "It could not be told which words of this mail are the sender's own and which are quoted."
    EMPTY = "Nothing was left of this mail after its quotes and signature, and its subject is no report."
    TOO_LONG = "The sender's own words in this mail are too long for a report."
    TOO_LARGE = "This mail is larger than is fetched; it was left on the mail server, and only its head was read."
    UNREADABLE = "This mail could not be read: it is broken, or built in a way that no mail program builds one."
    FAILED = "This mail was read, but dealing with it failed several times; the program's log says how."

    @property
    def may_be_answered(self) -> bool:
        """Whether a person is likely to be behind it, who may be told once that nothing was saved.

        Never for mail whose sender was found to be forged: the answer would reach somebody who wrote nothing.
        """
        return self in {Reason.UNPROVED, Reason.UNCLEAR, Reason.EMPTY, Reason.TOO_LONG, Reason.FAILED}
