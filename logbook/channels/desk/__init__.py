"""The desk: a text from any way in becomes entries and one short answer.

Promises that the text is kept as it came whatever it says, in the same transaction as the entries that it meant and
the answer that it gets; that the same message again is answered as the first time; and that nothing is saved from a
text that could not be read whole, or whose sender is not known. Which way it came is not its business.
"""

from logbook.channels.desk.desk import FLOOD, Desk
from logbook.channels.desk.message import ALIKE, Answer, Message

__all__ = ["ALIKE", "FLOOD", "Answer", "Desk", "Message"]
