"""Sentences about: what a person sets by hand where the image alone does not tell."""

from __future__ import annotations

SENTENCES: dict[str, str] = {
    "ridge_crest_set": (
        "Counted from {id}, which a person set beside the tooth that stands in this section. A "
        "width includes the root where it stands in the bone."
    ),
    "ridge_crest_off_bone": (
        "{id} does not lie at the bone of this section: it stands on the tooth, or more than 1 mm "
        "away from all bone - nothing is counted from it - put it on the edge of the bone beside "
        "the tooth."
    ),
    "plate_root_not_marked": (
        "A tooth stands in this section and its root is not marked: behind the cortical plate a "
        "root looks like more bone - no thickness is given - mark the root."
    ),
    "plate_before_root": (
        "The root lies within 1 mm behind the cortical plate here and cannot be told from it - no "
        "thickness is given - judge the plate by eye."
    ),
}
