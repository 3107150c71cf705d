"""The clock's door: look at what has come due, decide, write and queue in one transaction; then send.

Promises that no alert is missed and none doubled, whenever the process dies, and that a message goes out at least
once, always with the same Message-ID. Channels are reached by a Protocol only (`logbook.watch.routes`).
"""
