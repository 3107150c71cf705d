"""The machine logbook: what was done to each floor machine, kept so that nobody has to be believed."""

__version__ = "0.1.0"
