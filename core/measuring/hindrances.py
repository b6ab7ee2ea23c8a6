"""What stops rows of a fixture or site from meeting a limit, whatever their own evidence says.

Collected here once, for every maker of rows: what a person answered about the image and what was
found in it, and what scan and plan say against each other.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from core.bone.image_faults import ImageFault
from core.findings import Brief
from core.fixture import Fixture
from core.geometry import Array
from core.image.volume import Volume
from core.measurement import Note
from core.measuring.basis import Basis
from core.plans.plan import Plan, Site
from core.plans.side import contradictions, left_and_right_named
from core.trust.verdict import Hindrance


def hindrances_at(plan: Plan, basis: Basis, subject: Fixture | Site) -> tuple[Hindrance, ...]:
    """All that stops the rows of one fixture or site.

    Parameters
    ----------
    plan : Plan
    basis : Basis
        Of this plan and its scan; its own hindrances hold for every place.
    subject : Fixture or Site
    """
    return (
        *basis.hindrances,
        *_by_scan(basis.volume),
        *_by_side(plan, basis, subject),
        *_by_image(basis, subject),
        *_by_person(plan),
    )


def image_faults_at(basis: Basis, subject: Fixture | Site) -> tuple[ImageFault, ...]:
    """Faults found in the image that concern one fixture or site."""
    return (*basis.faults.everywhere, *basis.faults.at(basis.volume, along(basis, subject)))


def along(basis: Basis, subject: Fixture | Site) -> Array:
    """(3, 3) patient mm: places down a fixture's axis, or down the ridge of a site."""
    if isinstance(subject, Site):
        frame = basis.arch.frame(subject.station_mm)
        down = -1.0 if basis.jaw == "lower" else 1.0
        return frame.origin + down * np.array([[2.0], [8.0], [14.0]]) * frame.up
    return np.array([subject.on_axis(t * subject.size.length_mm) for t in (0.0, 0.5, 1.0)])


def image_sd_mm(basis: Basis, subject: Fixture | Site) -> float:
    """What these faults add to the standard uncertainty of values that rest on the image."""
    return math.hypot(*(fault.edge_sd_mm for fault in image_faults_at(basis, subject)))


def _by_image(basis: Basis, subject: Fixture | Site) -> Iterator[Hindrance]:
    for fault in image_faults_at(basis, subject):
        if fault.stops:
            yield Hindrance(note=fault.note, stops="image")


def _by_scan(volume: Volume) -> Iterator[Hindrance]:
    """Pictures that contradict their header: nobody knows what was exported."""
    for finding in volume.findings:
        if finding.stops_verdicts:
            note = Note("scan-contradicted", {"what": Brief(finding)})
            yield Hindrance(note=note, outranks=True)


def _by_side(plan: Plan, basis: Basis, subject: Fixture | Site) -> Iterator[Hindrance]:
    """A side that is contradicted outranks every number: cheek may be tongue, left be right."""
    arch = basis.arch
    if contradictions(plan, arch):
        yield Hindrance(note=Note("side-contradicted"), outranks=True)
    elif not left_and_right_named(plan, arch, subject.tooth):
        yield Hindrance(note=Note("side-not-named"))


def _by_person(plan: Plan) -> Iterator[Hindrance]:
    if plan.image_check is not None and plan.image_check.at_the_site:
        yield Hindrance(note=Note("image-trouble-at-site"))
