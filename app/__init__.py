"""Sounding's showing half: command line and bench. Nothing here computes a measurement."""

DISTRIBUTION = "sounding"
"""Whose package this is: `app.__main__` starts nothing beside a foreign one of the same name."""
