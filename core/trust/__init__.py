"""How sure a value is, and what may be said of it: doubt, verdict, rounding, and checks."""
