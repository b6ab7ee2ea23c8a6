"""The terms of screens, sheet and help in plain words; measures are defined beside the sheet."""

from __future__ import annotations

GLOSSARY: dict[str, str] = {
    "Absolute minimum": "The value below which no plan can set a limit.",
    "Arch": "The curve along the jaw that you trace or confirm. Sections stand across it.",
    "At least": (
        "The smallest plausible value: the value less 1.645 standard uncertainties. The true value "
        "is not smaller in 95 % of cases."
    ),
    "Borderline": "The value is above its limit, but by less than its uncertainty.",
    "Buccolingual, mesiodistal": "Across the jaw, from cheek to tongue; and along the jaw.",
    "De-identified": (
        "Names, dates and numbers that point to the patient were replaced. Teeth and jaws in the "
        "pictures can still identify a person."
    ),
    "Declared": (
        "You stated with a reason why a structure is not marked: not visible, outside the scanned "
        "region, not near this site, or the tooth is missing."
    ),
    "Direction indicator": "The pin in the first hole that shows its direction on a radiograph.",
    "Expanded uncertainty": (
        "Twice the combined standard uncertainty (coverage factor k = 2). The true value lies "
        "within it in about 95 % of cases."
    ),
    "Fixture": "The implant body without abutment and crown.",
    "Jaw plane": (
        "The plane that heights are counted from. It follows the occlusal surfaces or the ridge."
    ),
    "Limit": "A planning margin. It is not a proven threshold of harm.",
    "Maximum drilling depth": (
        "How deep the drill goes along the axis to the planned apex, rounded down to a mark. None "
        "is given while a limit around a vital structure is not met."
    ),
    "Not assessed": (
        "There is no reliable value: something was not marked, not scanned or not visible. Treat "
        "it like below limit."
    ),
    "Platform": "The top of the implant body, also called the shoulder.",
    "Slab thickness": "How much of the scan one picture shows. It changes no measurement.",
    "Stent axis": "The direction that the radiopaque filling of a stent shows in the scan.",
    "Uncertainty": "How far the value may be from the true value.",
    "Vital structures": (
        "What drilling must not reach: canal, foramen, loop of the nerve, vessels, sinus and nasal "
        "floor, and the outer surface of the bone."
    ),
    "Voxel": "The smallest cube of the scan.",
}
"""Term → meaning."""
