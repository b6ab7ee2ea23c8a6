"""Sentences about how far numbers can be trusted: repeat study, scale check, stent axis, self-test.

What is wrong - why it matters - what to do.
"""

from __future__ import annotations

SENTENCES: dict[str, str] = {
    # Repeat study (core.trust.repeatability, core.trust.method_error).
    "repeat-one-reading": (
        "There is only one reading here - one reading shows nothing about how far the next one "
        "would differ - place the same marks at least twice, on two sections or more."
    ),
    "repeat-whose-hand": (
        "The study holds readings of {people} - whose hand set the marks of this plan cannot be "
        "told from it - name one of them with --person."
    ),
    "repeat-one-mark": (
        "Each section has one mark - a length has two ends, so there is none to compare - the "
        "scatter of the marks stands all the same."
    ),
    "repeat-no-spread": (
        "All readings are the same - sections that do not differ cannot show whether readings "
        "agree - use sections of different sizes."
    ),
    "repeat-too-many-people": (
        "{found} people took part - the comparison is made between two - make one study for each "
        "pair."
    ),
    "repeat-twice-placed": (
        "{person} placed {mark} twice on section {section} in round {round} - it cannot be told "
        "which of them counts - keep one of them."
    ),
    "repeat-unreadable": (
        "This is no repeat study that can be read ({reason}) - nothing of it is used, and the "
        "usual allowance for marks stands - choose another file, or make the study again."
    ),
    "own-hand": (
        "Marks count with {counted} mm in each direction, from {person}'s own repeat study of "
        "{studied} (SD {sd} mm; taken over by {by}). It shows scatter, never bias."
    ),
    "own-hand-of-another": (
        "The marks of this plan count with the scatter of {person}, but {others} worked on it too "
        "- a steadier hand than theirs may be counted - go back to the usual allowance, or let "
        "the marks be placed by {person}."
    ),
    # Scale check (core.trust.scale_check).
    "scale-check-failed": (
        "SCALE CHECK FAILED: between the middles of {id} the scan shows {found} mm, the object "
        "measures {true} mm ({percent} %, ± {doubt} %) - every length in this scan may be wrong "
        "by as much - measure the object once more; if it stays so, do not plan on this scan and "
        "have the scanner checked."
    ),
    "scale-objects-contradict": (
        "SCALE OBJECTS CONTRADICT EACH OTHER ({ids}) - either a true distance was written down "
        "wrongly or the scan is stretched in one direction; the worst of them is taken for every "
        "length - measure the objects once more."
    ),
    "scale-object-by-hand": (
        "The middle of {ids} does not stand out by itself in the image - the marks are taken as "
        "they were set, so this check is coarse and may miss an error of 2 % - use balls or rods "
        "that stand free."
    ),
    "scale-pair-agrees": (
        "{id}: the scan shows {found} mm for {true} mm ({percent} %, ± {doubt} %): agrees within "
        "its doubt."
    ),
    "scale-pair-deviates": (
        "{id}: THE SCAN SHOWS {found} mm FOR {true} mm ({percent} %, ± {doubt} %): more than its "
        "doubt explains - lengths in this scan may be wrong by as much - measure the objects once "
        "more, and look at the scale check."
    ),
    "scale-check-passed": (
        "Scale check: no deviation that can be told from chance; the furthest, {id}, shows "
        "{found} mm for {true} mm ({percent} %, ± {doubt} %)."
    ),
    "scale-check-partly": (
        "Scale check: no deviation along the objects; the furthest, {id}, shows {found} mm for "
        "{true} mm ({percent} %, ± {doubt} %) - they do not lie along all directions, so the usual "
        "allowance stays - add distances along the other directions."
    ),
    # Stent axis (core.image.stent_axis, core.image.bright_object).
    "stent-no-filling": (
        "Nothing bright and closed was found at the click - an axis would be guessed - click on "
        "the filling itself; if the stent has none, set the two ends by hand."
    ),
    "stent-several": (
        "Several bright things lie within 1.5 mm of the click - the axis of the wrong one may be "
        "taken - click in the middle of the one that is meant."
    ),
    "stent-touches-metal": (
        "The filling touches something much denser, such as metal - the axis would lean towards "
        "it - set the two ends by hand, and look at them in two sections."
    ),
    "stent-not-closed": (
        "The filling goes on beyond the scanned region or runs into other bright things - where "
        "it ends cannot be told - set the two ends by hand."
    ),
    "stent-not-scanned": (
        "The click lies at or beyond the edge of what was scanned - nothing is known there - "
        "click on the filling inside the scan."
    ),
    "stent-not-a-rod": (
        "What was found at the click is no rod of 1 to 5 mm: it may be a tooth, bone, or a filling "
        "that touches a crown - its axis would mean nothing - click on the filling, or set the two "
        "ends by hand."
    ),
    "stent-too-short": (
        "What was found at the click is less than 3 mm long - its axis would turn with every "
        "voxel - set the two ends by hand."
    ),
    # Plan and scan on the day of measuring (core.plans.case_checks).
    "scan-old": (
        "The scan of {scanned} is {months} months old - bone is lost and roots move in that time, "
        "above all after a tooth was taken out - compare with the mouth and a newer film before "
        "anything is planned on it; a new scan needs a reason of its own."
    ),
    "scan-after-today": (
        "The scan is dated {scanned}, after the day of measuring ({made}) - one of the two clocks "
        "is wrong, and with it the scan's age - check the date of this machine."
    ),
    "jaw-changed-since": (
        "Was a tooth taken out, bone grafted or a film taken at this site after the scan of "
        "{scanned}? The scan cannot show it - ask and look before this plan is used."
    ),
    "jaw-changes-by-removal": (
        "The plan counts {teeth} as to be removed - the socket is not bone, and the jaw will not "
        "look like this scan afterwards - measure again once it has healed."
    ),
}
