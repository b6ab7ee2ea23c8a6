"""Sentences about: plan."""

from __future__ import annotations

SENTENCES: dict[str, str] = {
    # Jaw plane, arch and side (core.level, core.arch).
    "level-points-in-line": (
        "The three points of the jaw plane lie nearly on one line (the triangle is only "
        "{found_mm} mm high, {least_mm} mm are needed), so the plane's tilt would hang on a hair "
        "and every height with it. Set the points further apart, on both sides of the arch."
    ),
    "level-up-unclear": (
        "The jaw plane would stand nearly upright in the patient, so the program cannot tell "
        "which way is up and could swap crown and root. Set it again from chewing surfaces or "
        "from long axes of teeth, and check how the patient lay in the scanner."
    ),
    "arch-too-short": (
        "The arch needs at least two points that stand apart on the jaw plane; without it there "
        "is no section across the jaw and no side. Trace it along the jaw, from end to end."
    ),
    "side-ask-teeth": "Which teeth are in this scan?",
    "side-ask-front-end": "Which end of the traced arch is nearer the front teeth?",
    "side-ask-right-end": "Which end of the traced arch is on the patient's right?",
    "side-ask-tongue": "On which side of the jaw is the tongue?",
    "side-ask-midline": "Where is the midline?",
    "side-signs-disagree": (
        "LEFT AND RIGHT MAY BE SWAPPED: {one} and {other} do not agree. Compare missing and "
        "crowned teeth with the patient or the chart. Correct what was answered wrongly; if every "
        "answer is right, the scan was stored mirrored or turned: have it exported again."
    ),
    "teeth-against-scan": (
        "LEFT AND RIGHT MAY BE SWAPPED: {tooth} is planned, but the teeth in this scan were named "
        "as {region}. Correct the tooth's number, or say again which teeth are in this scan."
    ),
    "teeth-out-of-order": (
        "LEFT AND RIGHT MAY BE SWAPPED: {tooth} and {other} do not stand in the order of their "
        "numbers along the jaw. Correct the number that is wrong; if both are right, check the "
        "side with the patient or the chart."
    ),
    "side-check-against-scan": (
        "LEFT AND RIGHT MAY BE SWAPPED: the teeth in this scan were named as {region}, but {by} "
        "answered that the site is on the patient's {side}. Check the side with the patient or "
        "the chart, and correct the answer that is wrong."
    ),
    "side-against-tooth": (
        "LEFT AND RIGHT MAY BE SWAPPED: tooth {tooth} does not fit its place in the jaw "
        "({station}): the cheek lies on another side there. Correct the tooth's number, or check "
        "the side with the patient or the chart."
    ),
    "fixture-axis-level": (
        "The axis of fixture {fixture} lies along the arch or level with it, so buccal and mesial "
        "have no meaning there and no wall could be named. Set the axis upright first."
    ),
    # Teeth (core.identity).
    "tooth-unknown": (
        "{found} is no tooth of the two-digit system (ISO 3950), so jaw, side and limits cannot "
        "be told. Write 11–18, 21–28, 31–38 or 41–48: the first digit is the quadrant by the "
        "patient's sides, the second counts from the midline."
    ),
    "tooth-deciduous": (
        "{found} is a milk tooth; this program measures for permanent teeth only, and the limits "
        "are not meant for a growing jaw. Write the number of the permanent tooth."
    ),
    "tooth-unknown-1-to-32": (
        "{found} is no tooth of the 1–32 system, so jaw and side cannot be told. Write a number "
        "from 1 (upper right third molar) to 32 (lower right third molar)."
    ),
    # Reading a plan (core.plans.plan_file, core.plans.plan_json, core.plans.plan_parse).
    "plan-no-file": (
        "There is no plan file {path}, so nothing can be measured. Check the name and folder."
    ),
    "plan-unreadable": (
        "The plan file {path} cannot be read ({reason}), so nothing can be measured. Check that it "
        "is a file and that you may open it."
    ),
    "plan-too-large": (
        "This file is larger than {megabytes} MB, which no plan is. Nothing was read. Choose the "
        "plan (its name ends in .plan.json)."
    ),
    "plan-not-utf8": (
        "The plan is not written in UTF-8 (line {line}), so names and notes would be read wrongly. "
        "Save it as UTF-8; the file was not changed."
    ),
    "plan-broken-json": (
        "The plan is broken at line {line}, column {column} ({reason}); a half-read plan would "
        "leave structures out. Mend that place or take an earlier copy; the file was not changed."
    ),
    "plan-duplicate-key": (
        "The plan says '{key}' twice in one place (line {line}, column {column}), so it is open "
        "which one is meant. Take one of them out; the file was not changed."
    ),
    "plan-not-a-number": (
        "The plan has {found} at line {line}, column {column}, which is no number that can be "
        "measured with. Write the right number there; the file was not changed."
    ),
    "plan-half-character": (
        "The plan holds half a character ({found}), so it could not be saved as it is. Write that "
        "text anew; the file was not changed."
    ),
    "plan-nested-too-deep": (
        "This file nests more than {depth} levels deep, which no plan does. Nothing was read. "
        "Choose the plan (its name ends in .plan.json)."
    ),
    "plan-not-an-object": (
        "This file holds {found} where a plan holds an object {{...}}, so it is no plan. Choose "
        "the plan (its name ends in .plan.json)."
    ),
    "plan-not-a-plan": (
        "This file is no plan: its 'format' is {found}, 'sounding-plan' was expected. Choose the "
        "plan (its name ends in .plan.json)."
    ),
    "plan-no-version": (
        "The plan's 'version' is {found}, a whole number from 1 was expected; without it the file "
        'could be misread. Write "version": 2 if you made it by hand.'
    ),
    "plan-newer": (
        "The plan was written by a newer program (version {found}; this one knows {known}), and "
        "what it does not know could be a structure or a limit. Open it with the newer program."
    ),
    "plan-invalid": (
        "The plan cannot be used: at {where}, {expected} was expected, found {found}. Guessing "
        "could put something in the wrong place. Correct it; the file was not changed."
    ),
    "plan-missing-key": (
        "The plan cannot be used: at {where}, '{key}' is missing, and it cannot be guessed. Write "
        "it there; the file was not changed."
    ),
    "plan-invalid-value": (
        "The plan cannot be used: at {where}, {reason}. Such a thing cannot be measured to. "
        "Correct it; the file was not changed."
    ),
    "plan-wrong-tooth": "The plan cannot be used: at {where}: {reason}",
    "plan-same-id": (
        "The plan names '{id}' twice among its {where}, so it is open which one a measurement "
        "belongs to. Give each its own id; the file was not changed."
    ),
    "plan-reason-missing": (
        "The plan declares '{structure}' as not near this site without a reason ({where}); that "
        "takes it out of the summary, so a reason must stand there. Write it under 'reason'."
    ),
    "plan-impossible-size": (
        "At {where}, {what} is {found} mm; none is below {least} or above {most} mm. Every "
        "distance to it would be wrong, so nothing is measured. Correct the value."
    ),
    "plan-unusual-size": (
        "At {where}, {what} is {found} mm; usual are {least} to {most} mm. It may be a slip of "
        "the keyboard, and every distance to it would be wrong. Correct the value, or keep it "
        "and give the reason (in a plan file under 'reasons')."
    ),
    "plan-marks-out-of-order": (
        "At {where}, the course of {id} turns back on itself, so its marks do not stand in order "
        "and the curve through them runs where no canal is. Nothing is measured. Put the marks in "
        "order from one end to the other, or delete the one that stands wrong."
    ),
    "unusual-size-kept": ("An unusual size was kept for {id}. Reason given: {reason}"),
    "plan-other-scan": (
        "This plan was made on another scan ({what}: the plan says {planned}, this scan says "
        "{found}), so every mark would lie in the wrong place. Open the scan that it was made on, "
        "or make a new plan."
    ),
    "plan-scan-changed": (
        "The image of this scan is not the one that the plan was made on, although the scan "
        "carries the same identifiers, so no number is given: open the scan as it was exported "
        "at first, or make a new plan on this one."
    ),
    # Edits by hand (core.plans.edit, core.plans.edit_pose).
    "edit-locked": (
        "{what} is locked, so that nothing moves or deletes it by accident - unlock it first if "
        "you mean it."
    ),
    "edit-name-empty": (
        "This name has no letter a-z or digit - files and ledger could not call it by that - "
        "give it a name such as canal left."
    ),
    "edit-name-taken": (
        "Something else in this plan is called {name} already - a measurement could not tell "
        "them apart - give it another name."
    ),
    # Writing (core.atomic, core.plans.plan_file).
    "output-not-a-plan": (
        "{path} exists and is not a plan that this program may replace ({reason}) Nothing was "
        "written. Choose another name."
    ),
    "output-link": (
        "{path} is a link to another place; writing through it could replace somebody else's "
        "file. Nothing was written. Choose another name."
    ),
    "output-is-folder": (
        "{path} is a folder, so no file can be written there. Nothing was written. Give a file "
        "name inside it."
    ),
    "output-no-folder": (
        "{path} cannot be written: there is no folder {folder}. Nothing was written. Make the "
        "folder first, or choose another."
    ),
    "output-disk-full": (
        "{path} cannot be written: the disk is full or your share of it is used up. An older file "
        "of that name is untouched. Make room and save again."
    ),
    "output-forbidden": (
        "{path} cannot be written: the place is read-only, or the file is open elsewhere. An older "
        "file of that name is untouched. Choose another folder, or close the other program."
    ),
    "output-failed": (
        "{path} cannot be written ({reason}). An older file of that name is untouched. Choose "
        "another place and save again."
    ),
    # What a plan contradicts or leaves open (core.plans.plan_checks, core.plans.history).
    "plan-not-tied": (
        "This plan does not say which scan it was made on, so nothing shows that its marks belong "
        "to this patient. Compare names and pictures; saving ties it to this scan."
    ),
    "tooth-against-jaw": (
        "TOOTH AGAINST JAW: {tooth} does not stand in the {jaw} jaw that the plan is for; one of "
        "them is wrong, and with it directions and limits. Correct the tooth or the jaw."
    ),
    "tooth-against-side-check": (
        "TOOTH AGAINST SIDE: the plan is for {tooth}, but {by} answered that the site is on the "
        "patient's {side}. Do not go on before the side is settled on the patient."
    ),
    "teeth-of-both-sides": (
        "TEETH OF BOTH SIDES: this plan has teeth on the patient's right and on the left, and one "
        "answer ({side}) about the side. It cannot hold for both. Plan each side in a case of its "
        "own, and compare each with the patient or the chart."
    ),
    "tooth-against-place": (
        "TOOTH AGAINST PLACE: fixture {fixture} is named {tooth}, but stands {mm} mm to the "
        "patient's {side} of the marked midline. Either the number is wrong or the scan's sides "
        "are: settle it on the patient before anything else."
    ),
    "side-not-answered": (
        "Nobody has yet compared missing and crowned teeth with the patient or the chart, and only "
        "that finds a scan whose sides are swapped. Answer the side before signing."
    ),
    "nothing-to-sign": (
        "Nothing is measured in this plan: the signature would stand under an empty sheet. Measure "
        "a ridge or a distance, or place a fixture, first."
    ),
    "limit-unknown": (
        "The plan changes a limit called '{key}', which does not exist, so it has no effect. Use "
        "one of: {known}."
    ),
    "limit-changed": (
        "This plan changed the limit '{key}' from {default} to {value} mm ({by}, {at}; reason: "
        "{reason})."
    ),
    "limit-under-lower-line": (
        "This plan puts the limit '{key}' at {value} mm, under its lower line of {lower_line} mm; "
        "the lower line rules."
    ),
    "declaration-of-nothing": (
        "The plan declares '{structure}', which is neither marked nor one of {known}, so the "
        "declaration has no effect. Correct the name."
    ),
    "declared-and-marked": (
        "Marked and also declared as '{state}': {structure}. The mark is measured to; take one of "
        "them out."
    ),
    "sign-off-void": (
        "{name} signed revision {signed}; the plan was edited since (now revision {revision}), so "
        "that signature is void. Look through it and sign again."
    ),
    "history-changed": (
        "The plan's history was changed from outside this program (entry {entry} does not fit the "
        "one before), so it does not show what was really done. It does not prove who did it. "
        "Compare with an earlier copy."
    ),
    "history-cut": (
        "The plan's history was cut or replaced from outside this program ({found} entries are "
        "left), so it does not show all that was done. Compare with an earlier copy."
    ),
    # Verdicts (core.trust.verdict).
    "verdict-within-drilling-error": "Below {lower_line} mm: within drilling error.",
    "verdict-below-lower-line": (
        "Below {lower_line} mm: the line under which no plan can put this limit."
    ),
    "verdict-through": "Not apart: the two meet or overlap.",
}
