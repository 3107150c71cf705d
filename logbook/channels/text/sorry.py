"""Short answers where the text was read, but what it asks cannot be done. One GSM-7 part each, in both languages."""

from __future__ import annotations

from logbook.channels.text.gsm7 import spell
from logbook.domain.wording import speech

_SENTENCES = {
    "unknown_sender": "NOT SAVED, but kept. This number is not known here. Ask your supervisor to add it, then send it again.",
    "wrong_word": "NOT SAVED. That is not the word on a plate here. Look at the plate, and send JOIN, the word and your name.",
    "needs_word": "NOT SAVED. New segments need your own word in the text. Send the whole text again with it, or ask your supervisor.",
    "nothing_to_undo": "NOT SAVED. There is no text of yours from the last half hour to take back. Ask your supervisor.",
    "no_alert": "NOT SAVED. That alert is over, or there is none by that number. Send OWED to see what is left.",
    "not_allowed": "NOT SAVED. That is for the supervisor of the site. Pass it on by phone.",
    "nobody_waiting": "NOT SAVED. Nobody with that number waits for an answer.",
    "known_already": "You are known here already. Send the code on the plate and what was done.",
    "too_early": "NOT SAVED. That was before the machine came into the log. Check the time and send the whole text again.",
    "future_time": "NOT SAVED. That time is still to come. Check the time and send the whole text again.",
    "unknown_machine": "NOT SAVED. That machine is not in the log any more. Check the code on the plate.",
}
_OTHERWISE = "NOT SAVED, but kept. Something in it cannot be recorded. Ask your supervisor."


def sentence(code: str) -> str:
    """The English sentence for a refusal's code: also the msgid by which others find theirs."""
    return _SENTENCES.get(code, _OTHERWISE)


def sorry(code: str, language: str) -> str:
    """The answer to a text that was read and yet could not be carried out."""
    return spell(speech(language, "desk")(sentence(code)))


CODES = tuple(_SENTENCES)
