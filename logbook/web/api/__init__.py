"""The interface for other programs, at /api/v1: what the pages know, as JSON, with an OpenAPI description.

Promises that it answers to a key alone and never to a cookie, that an entry which was answered is on the disk, that
the same entry sent twice stands there once, and that whatever goes wrong is told as a problem (RFC 9457) with a
sentence that says what was kept. Never tells a name: a role stands behind every entry.
"""

from logbook.web.api.app import PATH, Interface, make_api

__all__ = ["PATH", "Interface", "make_api"]
