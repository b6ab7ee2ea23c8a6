"""Sentences about: the user's lists of sizes."""

from __future__ import annotations

SHIPPED = "Shipped list of sizes in this position"
OWN_LIST = "My sizes in this position"
TIP_MARK = " *"
SIZE, LIMITS, LACKS, TO = "size", "limits", "mm short", "of the limit to"
ALL_MET = "all met"
NOT_MET = "{count} not met"
NO_LIMIT = "no limit"
MEANS = (
    "Each size has its platform in the same place and along the same axis, and is held against the "
    "same limits by the same measurements. The order is that of the list; no size is recommended. "
    "The size named is stopped by the limit in the last column, which it misses by the mm given, "
    "rounded up. After ≈ stands what would settle a borderline value. * with the drill’s tip."
)
