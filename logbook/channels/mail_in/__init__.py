"""Mail in: texts out of a mailbox (IMAP, RFC 9051 and 3501).

Promises that nothing is marked before what was made of it is kept; that a mail which comes twice makes nothing twice;
that only words the sender wrote are read, never what is quoted below them; and that only mail of which our own
server says that it comes from its sender is taken. The rest is kept aside and left in the mailbox. It sends nothing.

`mailbox` needs IMAPClient (the extra `mail-in`); settings are read without it.
"""

from logbook.channels.mail_in.reasons import Reason
from logbook.channels.mail_in.settings import MailInSettings

__all__ = ["MailInSettings", "Reason"]
