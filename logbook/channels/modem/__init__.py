"""Texts in and out through a modem in a drawer, which gammu-smsd serves: we meet it at its SQL tables and nowhere else.

Promises that a text is marked as dealt with only after it was kept, and that a message of ours is put down once,
whatever crashes in between. Never writes what the daemon's documentation leaves to the daemon, never makes its
tables, and never talks to the modem.
"""

from logbook.channels.modem.incoming import Incoming
from logbook.channels.modem.outgoing import TextRoute
from logbook.channels.modem.receipts import Receipts
from logbook.channels.modem.settings import ModemSettings

__all__ = ["Incoming", "ModemSettings", "Receipts", "TextRoute"]
