"""Sentences about: measuring."""

from __future__ import annotations

SENTENCES: dict[str, str] = {
    # Rulers, and the diameter of a canal
    "ruler-no-length": (
        "Both marks of this ruler lie on one spot - there is no distance to give - move one of "
        "them, or delete the ruler."
    ),
    "canal-fit-not-scanned": (
        "The image ends near this mark - the canal's wall cannot be followed all around - measure "
        "the diameter at another mark."
    ),
    "canal-fit-not-clear": (
        "Around this mark the canal's edge does not stand out on enough sides - a diameter would "
        "be a guess - measure it in a clearer section; until then 3.0 mm is assumed, and the "
        "measurements say so."
    ),
    "canal-fit-not-round": (
        "The edges around this mark do not lie on one circle - the mark may be off the canal, or "
        "the canal open to one side - measure the diameter in a clearer section; until then "
        "3.0 mm is assumed, and the measurements say so."
    ),
    "canal-fit-too-blurred": (
        "The image is too blurred or too uneven here to tell the canal's wall from its lumen - a "
        "diameter would be a guess - measure it in a clearer section; until then 3.0 mm is "
        "assumed, and the measurements say so."
    ),
    "canal-fit-both": (
        "Measured at {mark}: {outside} mm to the outside of the bony wall (SD {sd}), which is what "
        "distances are measured to; the lumen is {lumen} mm (SD {lumen_sd}). Compare both with the "
        "picture."
    ),
    "canal-fit-no-wall": (
        "No bony wall stands out here from the bone around the canal - a wall of up to 0.4 mm may "
        "be there and is allowed for in the diameter - compare the diameter with the picture."
    ),
    # Clearances
    "canal_diameter_assumed": (
        "The canal's diameter was not measured, {diameter:.1f} mm was assumed (SD {sd:.2f}) - "
        "a wider canal is nearer than this number says - fit its diameter in one clear section."
    ),
    "marks_far_apart": (
        "Marks of {id} near the fixture stand more than 5 mm apart - between them its course is "
        "guessed - add a mark there."
    ),
    "traced_too_short": (
        "{id}: traced too short - where it goes on unmarked it may be nearer, so the number "
        "is only an upper bound - mark it further."
    ),
    "marks_stop_near_fixture": (
        "{id}: traced too short - its marks stop less than 5 mm beyond the fixture, so the "
        "number is only an upper bound - mark it further, mesially and distally."
    ),
    "root_traced_too_short": (
        "{id}: traced too short - it is nearest at its upper mark and goes on beyond it, so the "
        "number is only an upper bound - mark it further towards its crown."
    ),
    "floor_marked_too_narrow": (
        "{id}: marked too narrowly or too sparsely - beyond its marks it may be "
        "nearer, so the number is only an upper bound - set four marks around the fixture's axis "
        "within 5 mm, and marks 5 mm beyond the fixture on both sides."
    ),
    "floor_too_few_marks": (
        "{id}: fewer than three marks that span a surface - no distance can be "
        "given - set four marks or more around the fixture's axis, not above each other and not "
        "on one line."
    ),
    "wholly_beyond_floor": (
        "The whole fixture lies beyond {id} - it would stand in the cavity - move it "
        "back, or check the marks of the floor."
    ),
    "hull_used": (
        "The platform is wider than the body; distances are taken to the straight outline "
        "around both, so they are never too large."
    ),
    "no_such_part": (
        "The fixture has no part at these depths - nothing was measured there - choose depths "
        "on the fixture."
    ),
    "nothing_below_footprint": (
        "Nothing of {id} lies along the axis within the footprint - no height can be counted "
        "to it - mark it further if it runs there."
    ),
    "loop_unknown": (
        "Whether the nerve loops forward of {id} was neither marked nor declared - parts of the "
        "fixture mesial of the foramen are held to a distance along the arch - mark the loop or "
        "declare what was looked for."
    ),
    "rim_not_found": (
        "The bone's edge was not found at a rim of the platform - the depth from there cannot be "
        "counted - count from another place, or measure on the day."
    ),
    "gum_not_marked": (
        "The gum was not marked - no depth is counted from it - mark its surface on the axis."
    ),
    "stent_top_not_marked": (
        "The stent's top was not marked - no depth is counted from it - mark it on the axis."
    ),
    "axis_along_occlusal_plane": (
        "An axis runs along the occlusal plane - where it leaves the crown has no meaning - check "
        "the cusps that were marked and the axis."
    ),
    "room_entered": "This room was entered by hand, not measured in the scan.",
    "teeth_not_together": (
        "Nobody confirmed that the teeth were together in this scan - the room in it may be that "
        "of an open mouth - confirm it, or enter the room measured in the mouth."
    ),
    "opponent_not_marked": (
        "The opponent was not marked - the room for the crown is not known - mark it."
    ),
    "gum_probed": "This thickness was probed and entered by hand, not measured in the scan.",
    "gum_not_seen": (
        "Lip or cheek lies on the gum, so its surface cannot be told apart in this scan - no "
        "thickness is given - probe and enter it."
    ),
    "grooves_not_on_both_sides": (
        "The two groove marks do not stand mesial and distal of the fixture - an offset from "
        "their line has no meaning - mark one on each neighbour."
    ),
    "no_diameter": (
        "{id}: no width is known - the distance is to its middle line, and its wall is nearer than "
        "that, so the number is only an upper bound - give its diameter, or both edges."
    ),
    "foramen_edges_swapped": (
        "The edges of {id} are named the wrong way round - the one nearer to the midline is taken "
        "as the mesial edge - correct the marks."
    ),
    # End of clearances
    # Bone: edges, ridge, plates, undercut, bone surface, remaining wall
    "levels_no_bone": (
        "No bone can be told from its surroundings near the arch - without it no edge means "
        "anything - check that the arch lies in the jaw and that the scan is not noise."
    ),
    "levels_not_scanned": (
        "Too little was scanned near the arch to learn the grey levels of bone - no edge can be "
        "placed - trace the arch inside the scanned region."
    ),
    "levels_soft_unclear": (
        "Soft tissue cannot be told reliably from air or from bone by its grey value in this "
        "scan, so no bone edge is measured. Distances to marked structures are not affected. "
        "Point at soft tissue, cortical bone and marrow, or measure bone by hand on the section."
    ),
    "image_few_levels": (
        "Only {steps} grey values lie between soft tissue and cortical bone in this export (8-bit "
        "data, as a rule). Bone edges are less certain, and their uncertainty is widened. Export "
        "the scan again with its full range of grey values."
    ),
    "image_soft_cut": (
        "The grey values of this export were cut off at the brightness of soft tissue. Bone edges "
        "are less certain, and their uncertainty is widened. Export the scan again with its full "
        "range of grey values."
    ),
    "image_smoothed": (
        "The scan was smoothed: edges are {blur:s} mm broad. They are measured with that blur, but "
        "thin plates fade in it and may look absent."
    ),
    "image_moved": (
        "Edges stand about {mm:s} mm double in this scan: the patient probably moved. Bone "
        "edges are less certain, and their uncertainty is widened; with more than 0.8 mm no limit "
        "is shown as met on bone edges. Consider whether the scan can be used."
    ),
    "image_shaded": (
        "Soft tissue is brighter at one end of this scan than at the other, by {percent:s} % of "
        "what tells it from cortical bone: there it looks like spongy bone. No limit is shown as "
        "met on bone edges. Use a scan with a larger field if the plan depends on them."
    ),
    "image_rings": (
        "Rings run through the slices of this scan, as strong as {percent:s} % of what tells soft "
        "tissue from cortical bone. Bone edges are less certain, and their uncertainty is widened; "
        "from 12 % on no limit is shown as met on bone edges. Have the scanner calibrated."
    ),
    "image_streaks": (
        "Metal about {mm:s} mm away makes streaks at this site. Bone edges are less certain, and "
        "their uncertainty is widened; nearer than 6 mm no limit is shown as met on bone edges."
    ),
    "levels_cut": (
        "The grey values of this export were cut off below the brightness of cortical bone, so "
        "bone edges would be placed too far out, and none is measured. Export the scan again with "
        "its full range of grey values."
    ),
    "levels_cortex_unclear": (
        "The brightness of cortical bone could not be settled: the two sides of the jaw disagree, "
        "or all plates are too thin to show it. No bone edge is measured. Point at soft tissue, "
        "cortical bone and marrow, or measure bone by hand on the section."
    ),
    "levels_ridge_unlikely": (
        "What looks like bone along the traced arch is too narrow or too broad to be a ridge, so "
        "no bone edge is measured. Check that the arch runs along the middle of the ridge."
    ),
    "edge_nothing": (
        "No bone edge was met where one was expected - the surface is not shown there - measure "
        "by hand on the section."
    ),
    "edge_weak": (
        "The edge was not found: the outer bone is fainter than cortex - it may be thin or "
        "missing - read the section itself, or probe."
    ),
    "edge_starts_inside": (
        "The edge was not found: something as bright as bone lies directly outside - a tooth, "
        "metal or a filling may touch the ridge - look at the section."
    ),
    "edge_not_scanned": (
        "The line runs out of what was scanned - nothing is known there - a larger field would "
        "be needed."
    ),
    "edge_no_inner_edge": (
        "The inner edge of the cortex was not found - cortex and inner bone cannot be told "
        "apart here - no thickness is given."
    ),
    "edge_not_described": (
        "The edge was not found: no plate of bone explains the grey values there - metal, a "
        "streak, a root or a canal's wall may touch the plate - look at the section."
    ),
    "edge_not_cortex": (
        "The edge was not found: what lies there is brighter than this scan's cortex - metal, a "
        "filling or enamel - look at the section."
    ),
    "edge_graze": (
        "The edge was not found: the line runs along the surface - a small error would move it "
        "far - measure across the surface."
    ),
    "level_borrowed": (
        "Level borrowed: no place within 15 mm shows the grey level of this plate, so that of "
        "the whole scan stands in - the thickness is less sure than its neighbours'."
    ),
    "edge_levels": (
        "The grey levels of this scan are not known - no edge can be placed - check the arch."
    ),
    "ridge_no_bone": (
        "No bone was found here - nothing can be measured - check the station and the jaw plane."
    ),
    "ridge_cut_off": (
        "Bone goes on beyond the region around the jaw plane - the crest cannot be told - set the "
        "jaw plane at the teeth or the ridge."
    ),
    "ridge_crest_unclear": (
        "A higher place of the ridge shows no clear edge - the crest may lie above what was "
        "found, so no depth is counted from it - look at the section; beside a tooth that is to be "
        "removed the crest can be set by hand."
    ),
    "ridge_sloping_crest": (
        "Sloping crest: it lies {above:.1f} mm above the bone on the axis - depths count from "
        "the crest - both are given."
    ),
    "ridge_no_bone_at_depth": (
        "No bone lies at this depth below the crest - there is no width - the ridge is lower."
    ),
    "ridge_two_intervals": (
        "The line meets bone in {count} separate places - one width would be wrong - read the "
        "section."
    ),
    "ridge_one_plate": (
        "What was found down to this depth is as thin as one cortical plate: the other plate may "
        "not show in this scan - no width is given - look at the section."
    ),
    "ridge_open_side": (
        "Bone goes on to the side beyond 15 mm - the ridge has no outer edge there - no width "
        "is given."
    ),
    "ridge_least_unclear": (
        "With the section turned by up to 10 degrees edges were missing - the least width is not "
        "known - check the arch."
    ),
    "height_nothing_marked": (
        "NOTHING MARKED that limits the height - the bone may end sooner than it looks - mark "
        "the canal or the floor."
    ),
    "height_not_in_section": (
        "Not marked on both sides of this section - the height here is not known - mark the canal "
        "or the floor in the sections before and behind it too."
    ),
    "height_floor_no_surface": (
        "The marks of {id} span no surface: fewer than three, or in one line - how high the bone "
        "is under it cannot be told - mark it also nearer the cheek and nearer the palate, before "
        "and behind the site."
    ),
    "height_root_at_crest": (
        "{id} stands in this section - the crest, and what counts from it, is not taken there - "
        "set the crest beside the tooth with the Crest tool, measure in a section beside it, or "
        "mark it as to be removed."
    ),
    "ridge_over_socket": (
        "From outside to outside, over the root that is to be removed: its socket is not bone."
    ),
    "ridge_tooth_stands": (
        "Something brighter than bone stands on it in this section: a tooth, a filling or metal - "
        "the crest, and what counts from it, is not taken there - set the crest beside the tooth "
        "with the Crest tool, measure in a section beside it, or mark the tooth’s root as to be "
        "removed."
    ),
    "height_floor_short": (
        "{id}: its marks do not reach this section - it may end the height sooner - mark further."
    ),
    "height_nothing_below": (
        "Nothing marked lies below the footprint - the height along the axis is not known - mark "
        "further."
    ),
    "usable_unclear": (
        "A width below the crest could not be measured - the height that is wide enough is not "
        "known - read the section."
    ),
    "usable_seen_wide": (
        "At {count} of {of} levels the bone runs on beside the ridge (palate or cheek bone), so it "
        "has no width of its own - it is seen to be more than wide enough there."
    ),
    "plate_no_surface": (
        "The surface around this edge was not found - no direction to measure along - no "
        "thickness is given."
    ),
    "plate_too_thin": (
        "Too thin for this method: below {least:.1f} mm blur makes a plate look thicker than it "
        "is - no number is given - read it as thin."
    ),
    "plate_thin": (
        "Thin: less than {least:.1f} mm, less than such scans show reliably; may be absent."
    ),
    "undercut_lower_jaw_only": (
        "The lingual undercut is defined for the lower jaw - here it is not assessed."
    ),
    "undercut_no_outline": (
        "The lingual outline was not found over enough of its height - the undercut is not "
        "known - look at the section."
    ),
    "undercut_no_canal": (
        "No canal is marked in this section - the level 2 mm above it is not known - mark it."
    ),
    "undercut_level_outside": (
        "The level 2 mm above the canal lies outside the outline that was found - no depth is "
        "given - check the canal's marks."
    ),
    "undercut_angle_flat": (
        "The hollow is not deeper than what counts as different - an angle would say nothing."
    ),
    "surface_unclear": (
        "About {at} mm from the fixture the {side} bone surface has no clear edge - it may be thin "
        "or missing, and nearer than what was found - look at the section."
    ),
    "surface_not_scanned": (
        "Up to 8 mm to {side} not all was scanned - the bone surface may lie there unseen."
    ),
    "surface_not_found": (
        "The {side} bone surface was not found within 8 mm, and bone is not seen in every "
        "direction up to there - no distance is given."
    ),
    "evidence-none": (
        "Nothing was found that this number could rest on - it is held against no limit."
    ),
    "side-contradicted": (
        "Left and right may be swapped here: the tooth's number, the traced arch and the answers "
        "given do not agree. No limit is judged until they do. Check the side with the patient or "
        "the chart."
    ),
    "scan-contradicted": (
        "The scan contradicts itself, so no limit is judged on it: {what}. Export the series again."
    ),
    "side-not-named": (
        "Left and right are taken from the scan alone, which may be stored mirrored. Name the "
        "tooth, so that they can be compared."
    ),
    "image-trouble-at-site": (
        "The image was judged to be disturbed at this site, so no limit is shown as met."
    ),
    "at_least_reach": (
        "At least {reach:.0f} mm: bone is seen in every direction of this side up to there."
    ),
    "wall_not_found": (
        "The outer edge was not found on this side - the wall may be thin or missing - look at "
        "the section."
    ),
    "wall_not_scanned": "This side was not scanned - nothing is known of the wall there.",
    "wall_partly_found": (
        "At {missing} of {of} places of this side the outer edge was not found - the wall may be "
        "thinner there than this number - look at the section."
    ),
    "wall_between_found": (
        "In {missing} of {of} directions of this side the outer edge was not found - they are few "
        "and lie between directions that were found, and are judged by these - look at the section."
    ),
    "wall_to_root": "The wall ends at a root: bone up to it is counted.",
    "wall_no_bone": (
        "No bone lies on this side of the axis here - the fixture stands out of the bone."
    ),
    # The table of sizes
    "wall-lacking": (
        "{side}: up to {most} mm of bone lacking to the limit from {top} to {end} mm below the "
        "platform ({kind}). By depth: {each} mm."
    ),
    "wall-lacking-at": (
        "{side}: {most} mm of bone lacking to the limit at {at} mm below the platform ({kind})."
    ),
    "size-meets": "meets {limits} of {limits} limits",
    "size-no-limit": "no limit applies",
    "size-lacks": "would need {lacking:.1f} mm to {what}",
    "size-near": "too near to tell: {lacking:.1f} mm more to {what} would settle it",
    "size-not-assessed": "not assessed: {what}",
    # Ridge profile and grey values
    "grey-not-scanned": (
        "Nothing beside the fixture was scanned at this depth - there is no grey value - a larger "
        "field would be needed."
    ),
}
