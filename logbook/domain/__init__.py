"""What is true: entries, facts, duties and alerts as pure functions of the log.

Nothing here reads a clock, a file, a network or a source of chance; `now` is always an argument.
"""
