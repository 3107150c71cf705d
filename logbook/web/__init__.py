"""The pages: the cleaner's phone, Tonight, a machine's history, the Register; and the interface for other programs.

Promises that every page works without a script, asks nothing of any other server, and shows names only where they
were opened on purpose. Writes through `intake` alone. Never decides what an entry means, nor what is owed.

A room a page: `routes.py` reads the request and answers, a file beside it works out what is shown, as plain objects
that templates print and tests read.
"""
