"""The gateway: texts from and to any text gateway that calls a web address and is called at one.

What a gateway's posts look like and how it is asked to send is a template in the settings, so that no gateway needs a
program of its own. Promises that a text is answered for only after it is kept, that what is not signed is not
looked at, and that a message is `Sent` only after the gateway has taken it over. It never sends the answer to a text
itself: that is queued with everything else.

`incoming` needs FastAPI and uvicorn, `outgoing` httpx (the extra `web`); settings are read without them.
"""

from logbook.channels.gateway.settings import GatewaySettings

__all__ = ["GatewaySettings"]
