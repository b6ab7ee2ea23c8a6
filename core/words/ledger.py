"""Sentences about the ledger as a whole and its rows."""

from __future__ import annotations

SENTENCES: dict[str, str] = {
    "plan-not-ready": (
        "This plan does not say {missing} yet - every number is counted from them, so none is "
        "given - set and confirm them first."
    ),
    "side-open": (
        "One answer is missing before anything is measured, because left and right, cheek and "
        "tongue of every number depend on it: {question}"
    ),
    "level-upside-down": (
        "The jaw plane's up does not point towards the patient's head - heights and sides would "
        "be turned over, so nothing is measured - set the jaw plane again, with up superior."
    ),
    "jaw-against-tooth": (
        "{subject} is tooth {tooth}, but the plan says {jaw} jaw - the ridge would be read upside "
        "down, so nothing is measured - correct the jaw or the tooth's number."
    ),
    "fixture-upside-down": (
        "Fixture {fixture} points towards the crowns of the {jaw} jaw - its distances would be "
        "those of another place, so nothing is measured - turn its axis towards the apex."
    ),
    "fixture-outside-scan": (
        "Nothing was scanned where fixture {fixture} stands - the plan is not of this scan, or its "
        "points are in another frame - open the scan that the plan was made on."
    ),
    "mark-outside-scan": (
        "A mark of it lies where nothing was scanned - a distance to it says nothing about "
        "this patient, so none is given - check the mark, and that plan and scan belong together."
    ),
    "marks-outside-scan": (
        "Marks of this plan lie where nothing was scanned ({marks}), so nobody can have seen them "
        "there, and nothing is measured to them. Place them again inside the scan, and check that "
        "plan and scan belong together."
    ),
    "mark-not-accepted": (
        "{mark} would lie where nothing was scanned, so it was not placed there. Mark only what "
        "the scan shows; declare what lies outside the scanned region."
    ),
    "limit-changed-here": (
        "Limit changed for this plan: {value} mm in place of {default} mm, by {by}; reason: "
        "{reason}."
    ),
    "no-midline": (
        "No midline is marked - structures of the other side are told apart by distance only, and "
        "places are counted from the arch's end - mark the midline."
    ),
    "no-tooth-named": (
        "{subject}: no tooth is named - side and jaw cannot be compared with it, and the roots of "
        "its neighbours are not asked for - name the tooth."
    ),
    "place-against-side-check": (
        "PLACE AGAINST SIDE: {by} answered that the site is on the patient's {side}, but {subject} "
        "lies {mm} mm on the other side of the marked midline. Do not go on before the side is "
        "settled on the patient."
    ),
    "site-named-as-fixture": (
        "Site {id} has the name of a fixture but lies {mm} mm away from it along the arch - its "
        "ridge is not measured - give the site a name of its own."
    ),
    "bone-beside-field-edge": (
        "The scan ends within {reach} mm of the fixture on this side ({side}) - bone that was cut "
        "off there may pass for its outside, so no number is given - read the section, and judge "
        "by what was examined otherwise; this number alone is no reason for another scan."
    ),
    "height-negative": (
        "The structure's level lies above the crest - a height below zero is no height - check "
        "its marks and the jaw plane."
    ),
    "measuring-cancelled": "Measuring was stopped before it was finished; no number is shown.",
    "not-marked": (
        "{what}: NOT MARKED - nobody has said where it runs, so it counts as not met - mark it, "
        "or declare it with a reason."
    ),
    "declared-not-visible": (
        "{what}: looked for, not visible (said by {by}) - it may still be there, so it counts as "
        "not met - {reason}."
    ),
    "declared-outside": (
        "{what}: outside the scanned region (said by {by}) - this scan cannot tell where it is, "
        "so it counts as not met - {reason}."
    ),
    "declared-not-near": "{what}: declared not near this site by {by}: {reason}.",
    "declared-missing": (
        "{what}: the tooth is missing ({by}: {reason}), so there is no root to keep away from."
    ),
    "declared-without-reason": (
        "{what}: declared not near this site, but without a reason - it counts as not marked - "
        "write the reason."
    ),
    "floor-elevation-intended": (
        "Elevation of this floor is intended: no verdict is given; see residual height and "
        "length beyond the floor."
    ),
    "with-tip": "Repeated with the drill's tip, {tip:.1f} mm beyond the apex.",
    "free-hand": (
        "If placed {how} as in a published series (mean deviations, not a worst case): at least "
        "{mm} mm."
    ),
    "to-be-removed": "To be removed: no limit applies to it; its socket is not bone.",
    "site-near-field-edge": (
        "{subject}: less than 5 mm from the edge of the scanned region - structures beyond that "
        "edge are not on this scan and grey values near it are unreliable - measure nothing "
        "there without a second look."
    ),
    "site-beyond-arch": (
        "{subject}: beyond the traced arch - there the arch is only continued straight on, and "
        "the section may stand askew to the jaw - trace the arch further."
    ),
    "plane-tilted": (
        "{fixture}: its axis leans {angle:.0f} degrees from the jaw plane's normal - heights "
        "along the axis and by the jaw plane differ much - check the jaw plane or the axis."
    ),
    "measured-on-filled-slice": (
        "This measurement crosses a slice that was missing and was filled in - what lies there "
        "was not scanned."
    ),
}
