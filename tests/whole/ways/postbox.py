"""The mails that a mail server was handed, read."""

from __future__ import annotations

import email
import email.policy
from dataclasses import dataclass
from email.message import EmailMessage

from tests.channels.mail_out.sending import Keeper


@dataclass
class Postbox:
    """A running mail server of the tests, at a port."""

    keeper: Keeper
    port: int

    def mails(self, to: str) -> list[EmailMessage]:
        """Each mail to an address, as it came."""
        return [
            email.message_from_bytes(each.content, policy=email.policy.default)
            for each in list(self.keeper.envelopes)
            if to in each.rcpt_tos
        ]

    def words(self, to: str) -> list[str]:
        """Subject and body of each mail to an address."""
        return [f"{mail['Subject']}\n{mail.get_content()}" for mail in self.mails(to)]
