"""Who is told, when, and why: an alert that people mute is worth nothing.

Every alert is in the log and on the page; few ring. These files decide, purely and with a named reason each time,
who hears of one, at once or in the morning's letter, and what the letter holds. What is said, in which words,
stands in `logbook.domain.wording`; sending is `logbook.watch.delivery`.
"""
