"""Private words: how a name, a remark or a photograph is bound to the log without being in it.

Only a salted commitment is hashed into the entry. With salt and content anyone can check that these were the
words; without the salt nobody can guess them, though a phone number has but ten digits. Deleting salt and content
erases the words, and the log still verifies. Never draws a salt itself: chance comes from the caller.
"""

from __future__ import annotations

import hashlib
import hmac

SALT_BYTES = 32


def commit(content: bytes, salt: bytes) -> str:
    """The commitment SHA-256(salt || content), in lower-case hex.

    `salt` is 32 bytes from the system's source of chance, one for each item. Raises ValueError for any other
    length: with a fixed length, salt and content cannot be cut apart in a second way.
    """
    if len(salt) != SALT_BYTES:
        raise ValueError(f"a salt has {SALT_BYTES} bytes, not {len(salt)}")
    return hashlib.sha256(salt + content).hexdigest()


def opens(commitment: str, content: bytes, salt: bytes) -> bool:
    """Whether salt and content are what the commitment was made of."""
    return len(salt) == SALT_BYTES and hmac.compare_digest(commit(content, salt).encode(), commitment.encode())
