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
    "levels_pointed": (
        "The brightness of soft tissue, cortical bone and marrow was pointed at by a person, "
        "because the scan does not show it reliably itself. Bone edges are less sure by that."
    ),
    "tissue_points_not_needed": (
        "The tissues that were pointed at are not used: this scan shows the brightness of soft "
        "tissue and bone itself, and that is what is measured by."
    ),
    "tissue_points_incomplete": (
        "Not all three tissues were pointed at, so they are not used. Point at soft tissue, "
        "cortical bone and marrow, one click each."
    ),
    "tissue_points_refused": (
        "The tissues that were pointed at are not used, and no bone edge is measured. {why}"
    ),
    "tissue_point_unusable": (
        "The place that was pointed at as {tissue} is missing or lies too near the edge of the "
        "scan. Point at it elsewhere."
    ),
    "tissue_point_uneven": (
        "The place that was pointed at as {tissue} lies on a border: its surroundings are not of "
        "one brightness. Point at its middle."
    ),
    "tissue_points_alike": (
        "The three places that were pointed at are too alike in brightness to tell soft tissue, "
        "marrow and cortical bone apart. Point again, at cortical bone where it is thickest."
    ),
    "tissue_points_against_scan": (
        "What was pointed at as cortical bone is not as bright as most cortical plates of this "
        "scan: it may be a tooth, a filling, or a plate too thin to show its brightness. Point at "
        "cortical bone where it is thickest, such as the lower border."
    ),
}
