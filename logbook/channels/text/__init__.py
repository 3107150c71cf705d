"""The short-message channel: what a gloved thumb typed becomes drafts of entries, a question, or a command.

Pure, like the domain: the message, what must be known of the fleet and the moment go in, a reading comes out.
Promises that a text is read whole or not at all, that nothing is saved which was not said, and that every reading
has one short answer. Never writes, never sends, never looks at a clock.
"""

from logbook.channels.text.answers import answer, as_json
from logbook.channels.text.reading import Draft, Fleet, Reading, read

__all__ = ["Draft", "Fleet", "Reading", "answer", "as_json", "read"]
