"""Help in plain words."""
