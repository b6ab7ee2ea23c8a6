"""Sentences about the scan: what is so, why it matters for measuring, what to do."""

from __future__ import annotations

SENTENCES: dict[str, str] = {
    # What was named cannot be opened.
    "scan_path_missing": (
        "There is no file or folder {path!r} - nothing was read - check the name, or choose the "
        "exported folder again."
    ),
    "scan_path_unreadable": (
        "{path!r} cannot be read - nothing was measured - check the disc and the right to read it."
    ),
    "scan_nothing_found": (
        "No DICOM pictures were found in {path!r} ({count} files looked at) - there is nothing to "
        "measure on - choose the folder, disc or zip that the scanner exported."
    ),
    "scan_only_damaged": (
        "None of the DICOM files can be read ({count} damaged: {names}) - nothing can be measured "
        "- copy the export again from the scanner or disc."
    ),
    "scan_cancelled": "Reading was stopped - no scan is open - open it again when you like.",
    "scan_too_large": (
        "The pictures would not fit into memory, or are larger than any scan of a jaw - they were "
        "not read - export a smaller field, or check the files."
    ),
    "zip_damaged": (
        "The archive {path!r} is damaged - slices may be missing - copy or export it again."
    ),
    "zip_encrypted": (
        "The archive {path!r} is locked with a password - it cannot be read - unpack it first and "
        "open the folder."
    ),
    "zip_unsafe_name": (
        "The archive {path!r} holds a name that leads outside of it ({name!r}) - no scanner writes "
        "that, so it was not read - ask where it comes from."
    ),
    "zip_swells": (
        "The archive {path!r} would swell to {megabytes} MB - no scan packs that small, so it was "
        "not read - ask where it comes from."
    ),
    # Which series.
    "scan_several_series": (
        "The export holds several series that can be measured on - a measurement on the wrong one "
        "is worth nothing - name one: {listing}."
    ),
    "scan_series_not_found": (
        "There is no series {wanted!r} in this export - nothing was measured - name one of: "
        "{listing}."
    ),
    # A stack that cannot be measured on.
    "scan_localizer": (
        "This is an overview picture for planning the scan, no volume - it holds no depth to "
        "measure in - choose the scan's own series."
    ),
    "scan_screen_picture": (
        "These are copies of a screen, no slices - their grey values and scale are those of a "
        "picture - export the scan itself."
    ),
    "scan_not_ct": (
        "This is no CT or cone-beam scan (it says {modality}) - its scale and grey values do not "
        "mean what the measurements need - choose the CT series."
    ),
    "scan_scale_not_linear": (
        "The grey values are stored through a table or a scale of zero - edges found on them "
        "would lie in the wrong place - export the original slices."
    ),
    "scan_colour": (
        "The pictures are in colour - a scan has one grey value for each place - export the "
        "original slices."
    ),
    "scan_pixel_layout": (
        "The pixels are stored in a way that this program cannot read for sure - a wrong guess "
        "would move every edge - export them uncompressed, 16 bits."
    ),
    "scan_syntax_unknown": (
        "The pictures are compressed in a way that this program does not read ({syntax}) - no "
        "value is known - export them uncompressed or with lossless JPEG."
    ),
    "scan_undecodable": (
        "{count} of {total} compressed slices could not be unpacked - the volume would have holes "
        "- copy the export again from the scanner or disc."
    ),
    "scan_no_decoder": (
        "The part that unpacks compressed slices did not start - the slices cannot be read - "
        "install the program again, or export the scan uncompressed."
    ),
    "scan_truncated": (
        "{count} of {total} slices are cut short - the volume would have holes - copy the export "
        "again from the scanner or disc."
    ),
    "scan_one_slice": (
        "There is only one slice, or only one place that slices lie at - a volume needs many - "
        "open the folder that holds the whole series."
    ),
    "scan_no_position": (
        "The slices do not say where they lie - distances and left and right cannot be known - "
        "export again with positions, or state the voxel size yourself."
    ),
    "scan_no_spacing": (
        "The slices do not say how large a pixel is - no distance can be measured - export again "
        "with pixel spacing, or state the voxel size yourself."
    ),
    "scan_no_orientation": (
        "The slices do not say how they are turned - left, right, front and back cannot be known "
        "- export again with the orientation."
    ),
    "scan_no_order": (
        "The slices have neither positions nor numbers without holes - their order cannot be known "
        "- export again with positions."
    ),
    "scan_orientation_broken": (
        "The direction of the slices is not written as two perpendicular unit vectors ({found}) - "
        "every distance would be bent - export again."
    ),
    "scan_slices_missing": (
        "{count} slices are missing in {gaps} places (step {step_mm} mm) - what lies there was not "
        "exported and cannot be measured - export the whole series again."
    ),
    "scan_slices_uneven": (
        "The slices are not evenly spaced ({count} steps off: {found_mm} mm instead of "
        "{expected_mm} mm) - lengths across them would be wrong - export the series again."
    ),
    "scan_not_a_line": (
        "The slices do not lie behind one another in a straight line (up to {found_mm} mm beside "
        "it) - every oblique distance would be wrong - export the series again."
    ),
    "scan_conflicting_slices": (
        "{count} slices lie at the same place as another but show something else - two scans may "
        "be mixed - export one series alone."
    ),
    "scan_spacing_out_of_range": (
        "The files state pixels of {found_mm} mm; those of a scan of a jaw lie between {least_mm} "
        "and {most_mm} mm - every length would be wrong - check the unit at the scanner, or export "
        "again."
    ),
    "scan_scale_unreadable": (
        "What turns stored values into grey values is not written as a number ({names}) - edges "
        "found on a guess would lie in the wrong place - export the series again."
    ),
    "scan_part_missing": (
        "The scan was exported in {total} parts and {here} of them are here - what lies in the "
        "others cannot be measured - export the whole series again."
    ),
    "scan_spacing_not_believable": (
        "The stated voxel size is outside 0.01 to 10 mm - lengths would be wrong - check the "
        "numbers; they are in mm."
    ),
    "scan_spacing_not_the_headers": (
        "The stated pixel size {stated} mm is not the one in the files ({header} mm) - one of them "
        "is wrong - check it at the scanner before measuring."
    ),
    # The pictures contradict what the files say of them: no verdict stands.
    "scan_pixels_left_over": (
        "{count} files hold more pixels than their rows, columns and frames account for - one of "
        "these numbers is wrong, and with it every place in the picture - export the series again."
    ),
    "scan_words_unfit": (
        "{count} slices hold values that do not fit into the number of bits that the files state - "
        "grey values may be cut or mixed with something else - export the series again."
    ),
    "scan_sign_contradicts": (
        "Grey values jump by their whole range between neighbours - the files state the wrong sign "
        "or the wrong number of bits, and edges are not where they seem - export the series again."
    ),
    "scan_byte_order": (
        "{count} slices are smooth only when the two bytes of each value are exchanged - the files "
        "were written in another order than they state - export the series again."
    ),
    "scan_rows_contradict": (
        "{count} slices are smooth only when rows and columns are exchanged - the files state the "
        "wrong shape, and every place in the picture is wrong - export the series again."
    ),
    "scan_coded_otherwise": (
        "{count} compressed slices state another sign of their values than their files do - "
        "grey values may be wrong - export the series uncompressed."
    ),
    "scan_scale_unproven": (
        "The files state another grey scale or kind of number for some slices than for their "
        "neighbours, and the pictures do not bear it out - grey values may jump between slices - "
        "export the series again."
    ),
    "scan_scale_absent": (
        "{count} slices do not say how stored values become grey values, though others do - their "
        "grey values may be wrong - export the series again."
    ),
    "scan_seam": (
        "The series is made of different acquisitions, and the pictures do not go on into one "
        "another where they meet - two scans may be mixed - export one acquisition alone."
    ),
    "scan_slice_strange": (
        "The slices {slices} look unlike their neighbours, which look like one another - "
        "their pixels were damaged or belong to something else - export the series again."
    ),
    "scan_order_unproven": (
        "Numbers and places of the slices put them in different orders, and the pictures do not "
        "show that the places are right - slices may be exchanged - export the series again."
    ),
    "scan_slices_exchanged": (
        "The slices {first} and {second} fit their neighbours better when they are exchanged, and "
        "the files do not number all slices - heights between them may be wrong - export the "
        "series again."
    ),
    # What limits measuring on a stack.
    "scan_number_absent": (
        "Some of the slices state numbers that the others do not ({names}) - they are only held "
        "against the places, which every slice states - nothing to do."
    ),
    "scan_steps_differ": (
        "The slices are not all the same distance apart ({least_mm} to {most_mm} mm) - the middle "
        "of all distances is taken, and single slices lie up to {off_mm} mm from their places - "
        "read margins across the slices with that much more room."
    ),
    "scan_number_unreadable": (
        "Some values in the files are not written as numbers ({names}) - they were left aside, and "
        "nothing was put in their place - compare voxel size and number of slices with the scanner."
    ),
    "scan_layout_absent": (
        "The files do not say all about their pixels ({names}) - the usual was taken, and the "
        "pictures do not speak against it - compare the pictures with the scanner's."
    ),
    "scan_scale_not_stated": (
        "The files do not say how stored values become grey values - they are used as they are "
        "stored, and differ from the scanner's - do not compare grey values with other scans."
    ),
    "scan_mixed": (
        "Slices of this series differ in what should be one for a scan ({names}) - two scans may "
        "be mixed - compare with the scanner's list, or export one acquisition alone."
    ),
    "scan_directions_differ": (
        "The slices are not all turned alike (cosines differ by {most}) - the direction of most of "
        "them is taken, and single slices may lie askew - export the series again if you can."
    ),
    "scan_pixel_sizes_differ": (
        "The slices do not all state the same pixel size (by {percent} %) - that of most of them "
        "is taken for all - check a known length before measuring."
    ),
    "scan_order_contradicts": (
        "Numbers and places of the slices put them in different orders - the places are taken - "
        "look at top and bottom, and for jumps between slices, before measuring."
    ),
    "scan_location_contradicts": (
        "The slices state other distances from one another than their places - one of the two is "
        "wrong, and heights hang on it - check a known height before measuring."
    ),
    "scan_two_patients": (
        "The export holds scans of {count} different patients - you may measure on the wrong one - "
        "compare name, birth date and ID before each step."
    ),
    "scan_two_dates": (
        "The export holds scans of {count} dates ({dates}) - bone and teeth may have changed "
        "between them - choose the date that you mean."
    ),
    "scan_two_dates_in_series": (
        "The slices of this series bear different dates ({dates}) - two scans may be mixed - "
        "compare with the scanner's list."
    ),
    "scan_files_ignored": (
        "{count} other files beside the pictures were passed over - they hold no slices - nothing "
        "to do."
    ),
    "scan_files_damaged": (
        "{count} files look like DICOM but cannot be read ({names}) - slices may be missing from "
        "a series - copy the export again if a series is refused or too short."
    ),
    "scan_directory_lists_more": (
        "The disc's directory lists {count} files that are not here - a series may be left out - "
        "check that the scan you mean is among those found."
    ),
    "scan_localizer_left_out": (
        "{count} overview pictures with this series' number were left out - they are no part of "
        "the volume - nothing to do."
    ),
    "scan_pictures_left_out": (
        "{count} more pictures bear this series' number but do not fit to its slices - part of the "
        "scan may be missing - see why they were refused, and compare the number of slices."
    ),
    "scan_copies_dropped": (
        "{count} slices were there twice and their copies were dropped - the values are the same - "
        "nothing to do."
    ),
    "scan_slice_made_up": (
        "Slice {slice} is missing and was put in between its neighbours - what lies there was not "
        "measured - export again before measuring across it."
    ),
    "scan_slices_truncated": (
        "{count} slices are cut short - they cannot be read - copy the export again."
    ),
    "scan_slices_lost": (
        "The slices {slices} could not be read and were put in between their neighbours - what "
        "lies there was not measured - copy the export again before measuring across them."
    ),
    "scan_spacing_by_hand": (
        "Spacing entered by hand ({spacing_mm} mm) - every length hangs on it, and the order of "
        "the slices on their numbers - compare top and bottom, and a known length, first."
    ),
    "scan_orientation_assumed": (
        "The files do not say how the slices are turned, so slices across the lying patient were "
        "taken for granted - left and right are not known from this scan - compare with the "
        "patient before anything else."
    ),
    "scan_orientation_default": (
        "The position of the slices looks like a default, not like a measured one - left and "
        "right may be wrong - compare missing and crowned teeth with the patient."
    ),
    "scan_patient_position_missing": (
        "The files do not say how the patient lay or sat - left and right rest on the slices' "
        "directions alone - compare missing and crowned teeth with the patient."
    ),
    "scan_patient_position_unusual": (
        "The patient's position is written as {found!r}, which is no defined term - left and right "
        "rest on the slices' directions alone - compare missing and crowned teeth with the patient."
    ),
    "scan_lossy": (
        "The pictures were compressed with loss{ratio} - thin plates and the canal's wall may be "
        "changed - export without loss if you can."
    ),
    "scan_voxel_large": (
        "A voxel is {voxel_mm} mm - details below about twice that are lost, thin plates and the "
        "canal's wall among them - read margins with more room."
    ),
    "scan_derived": (
        "The series says that it was derived from another - its edges may be smoothed or moved - "
        "measure on the original slices if you have them."
    ),
    "scan_reformatted": (
        "The series says that it was cut or resampled from another - its edges are smoother than "
        "the scan's - measure on the original slices if you have them."
    ),
    "scan_stitched": (
        "The series says that it was joined from several scans - lengths across the seam may be "
        "off - measure on one side of it."
    ),
    "scan_sharpened": (
        "The series says that it was sharpened - edges lie too far out and thin plates look "
        "thicker - measure on the unsharpened series if you have it."
    ),
    "scan_metal_reduced": (
        "The series says that metal artefacts were reduced - bone beside metal may be drawn in or "
        "wiped out - compare with the untreated series near metal."
    ),
    "scan_secondary_capture": (
        "The slices were stored as copies, not by the scanner itself - scale and grey values may "
        "have been changed - check a known length first."
    ),
    "scan_burned_in": (
        "The pictures say that text is burned into them - it hides what lies below, and may show "
        "the patient's name - look before you pass them on."
    ),
    "scan_spacing_contradicts": (
        "The files state {stated_mm} mm between slices, their positions {measured_mm} mm - one of "
        "them is wrong, and heights hang on it - check a known height before measuring."
    ),
    "scan_slices_apart": (
        "Slices {stated_mm} mm thick lie {measured_mm} mm apart - what lies between them was not "
        "scanned - read margins across the slices with more room."
    ),
    "scan_slices_overlap": (
        "Slices {stated_mm} mm thick lie {measured_mm} mm apart - details thinner than a slice are "
        "blurred - do not take the step for the scan's sharpness."
    ),
    "scan_tilted": (
        "The slices are tilted by {angle_deg}° against their stack - it is accounted for exactly - "
        "nothing to do."
    ),
    "scan_tilt_contradicts": (
        "The files state a tilt of {stated_deg}°, their positions {measured_deg}° - one of them is "
        "wrong, and oblique lengths hang on it - check a known length before measuring."
    ),
    "scan_identity_incomplete": (
        "Name or birth date is missing - the scan cannot be told from another patient's - make "
        "sure by other means whose it is."
    ),
    "scan_no_frame_of_reference": (
        "The scan has no frame of reference - a plan can only be tied to its voxels - keep plan "
        "and scan together."
    ),
    "scan_scale_differs": (
        "The grey scale differs between slices and was brought into one - values are comparable - "
        "nothing to do."
    ),
    "scan_mostly_padding": (
        "{percent} % of the field is marked in the files as not scanned - nothing is measured "
        "there, and the mark may cover tissue - compare the pictures with the scanner's."
    ),
    "scan_padding_absent": (
        "{count} slices do not say which value stands for what was not scanned, though others do "
        "- such places may be taken for tissue in some slices, and tissue for such places in "
        "others - compare the pictures with the scanner's."
    ),
    "scan_slices_of_padding": (
        "Most of {count} slices is marked in the files as not scanned, unlike the others - nothing "
        "is measured there, and the mark may cover tissue - compare with the scanner's pictures."
    ),
    "scan_round_field": (
        "The corners around the round field ({percent} % of each slice) were not scanned - nothing "
        "is measured there - nothing to do."
    ),
}
