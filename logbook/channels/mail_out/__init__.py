"""Mail out: messages by SMTP (RFC 5321), one recipient a transaction, over one connection for as long as there are any.

Promises that a message is `Sent` only after the server has taken it over, that encryption which was asked for is
never left out, and that nothing which a person or a server wrote can become a command, a header or an address.
"""

from logbook.channels.mail_out.route import MailRoute
from logbook.channels.mail_out.settings import MailSettings

__all__ = ["MailRoute", "MailSettings"]
