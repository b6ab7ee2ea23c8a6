"""The ledger as a DICOM Comprehensive 3D SR: measurements only, never an impression.

PS3.16 TID 1500, one measurement group (TID 1501) for each fixture or site, a fixture's with its
size and its position (the length runs from platform to apex). Every number has a tracking
identifier that is the ledger's row, finding sites by tooth and structure, its witness points as
3D coordinates in the scan's frame of reference, its limit with the source, and the value that it
reaches at least; `core.sheet.concepts` has the codes. What was not assessed stands in the group
as such, so that no reader takes silence for "nothing there". No verdict is written. Until a
signature belongs to this very plan the object is PRELIMINARY, UNVERIFIED and says DRAFT. One
plan has one series, and a report names the one that it takes the place of.
"""

from __future__ import annotations

import io
import warnings
from datetime import datetime
from typing import Any

import numpy as np
from pydicom.dataset import Dataset
from pydicom.sr.codedict import codes
from pydicom.sr.coding import Code

from core.errors import OutputError
from core.fixture import Fixture
from core.geometry import Array
from core.measurement import Measurement
from core.measuring.ledger import Ledger
from core.measuring.row_names import row_words
from core.plans.history import sign_off_state
from core.plans.plan import Site
from core.sheet import concepts
from core.sheet.archive_object import DRAFT
from core.sheet.attribute_tables import read_tables_in_steps
from core.sheet.ridge_grid import depth_mm
from core.sheet.side_refusal import refuse_contradiction
from core.sheet.study import (
    MANUFACTURER,
    as_file,
    describe_study,
    equipment,
    own_uid,
    plan_uid,
    say_pseudonymous,
    stamp,
    study_instances,
)
from core.structures import Structure
from core.version import PROGRAM

DECIMALS = 4
"""As in the ledger file."""

_SERIES_NUMBER = 9901


COVERAGE = 2.0
"""k of every expanded uncertainty."""


def structured_report(ledger: Ledger, *, predecessor: bytes | None = None) -> bytes:
    """The ledger as a Comprehensive 3D SR file in the scan's study.

    Parameters
    ----------
    ledger : Ledger
    predecessor : bytes, optional
        The report that this one takes the place of; one of another study is not named.

    Raises
    ------
    OutputError
        ``side-contradiction``; ``archive-field-missing`` with the attribute's name;
        ``archive-nothing-to-report``.
    """
    refuse_contradiction(ledger)
    evidence = study_instances(ledger.scan, with_space=True)
    groups = _groups(ledger)
    if not groups:
        raise OutputError("archive-nothing-to-report")
    from highdicom import sr

    read_tables_in_steps()

    report = sr.MeasurementReport(
        observation_context=_observers(ledger),
        procedure_reported=concepts.CONE_BEAM,
        imaging_measurements=groups,
        title=codes.DCM.ImagingMeasurementReport,
    )
    plan, signed = ledger.plan, sign_off_state(ledger.plan) == "signed"
    verified: dict[str, Any] = {}
    if signed and plan.sign_off is not None:
        verified = {
            "verifying_observer_name": _person(plan.sign_off.name),
            # Type 1, and nobody asks for it when a plan is signed.
            "verifying_organization": "not stated",
        }
    with warnings.catch_warnings():
        # A name of one part is kept as the scan has it; the library only grumbles.
        warnings.filterwarnings("ignore", message="The string .* is unlikely")
        document = sr.Comprehensive3DSR(
            evidence=evidence,
            content=report[0],
            series_instance_uid=plan_uid(ledger, "report series"),
            series_number=_SERIES_NUMBER,
            sop_instance_uid=own_uid(ledger, f"report {signed}"),
            instance_number=plan.revision + 1,
            manufacturer=MANUFACTURER,
            is_complete=signed,
            is_final=signed,
            is_verified=signed,
            previous_versions=_earlier(predecessor, ledger, f"report {signed}"),
            **verified,
        )
    equipment(document)
    stamp(document, ledger)
    describe_study(document, ledger.scan)
    say_pseudonymous(document, ledger.scan)
    document.CodingSchemeIdentificationSequence = [_own_scheme()]
    words = "Measurement report" if signed else f"{DRAFT} - measurement report"
    document.SeriesDescription = words
    document.CompletionFlagDescription = document.SeriesDescription
    if signed and plan.sign_off is not None:
        when = datetime.fromisoformat(plan.sign_off.at)
        item = document.VerifyingObserverSequence[0]
        item.VerificationDateTime = when.strftime("%Y%m%d%H%M%S%z")
    return as_file(document)


def _earlier(predecessor: bytes | None, ledger: Ledger, what: str) -> list[Dataset] | None:
    """The report to be named as predecessor, where it is another one of the same study."""
    if predecessor is None:
        return None
    import pydicom
    from pydicom.errors import InvalidDicomError

    try:
        found = pydicom.dcmread(io.BytesIO(predecessor), stop_before_pixels=True)
    except (InvalidDicomError, OSError, ValueError):
        return None
    same = found.get("StudyInstanceUID") == ledger.scan.study_uid
    if not same or found.get("SOPInstanceUID") in (None, own_uid(ledger, what)):
        return None
    return [found]


def _own_scheme() -> Dataset:
    item = Dataset()
    item.CodingSchemeDesignator = concepts.PRIVATE
    item.CodingSchemeName = "Concepts of the program Sounding"
    item.CodingSchemeVersion = concepts.VERSION
    item.CodingSchemeResponsibleOrganization = MANUFACTURER
    return item


def _observers(ledger: Ledger) -> Any:
    from highdicom import sr

    device = sr.ObserverContext(
        observer_type=codes.DCM.Device,
        observer_identifying_attributes=sr.DeviceObserverIdentifyingAttributes(
            uid=own_uid(ledger, "device"),
            name=PROGRAM,
            manufacturer_name=MANUFACTURER,
            model_name=PROGRAM.partition(" ")[0],
        ),
    )
    sign = ledger.plan.sign_off
    person = None
    if sign is not None and sign_off_state(ledger.plan) == "signed":
        person = sr.ObserverContext(
            observer_type=codes.DCM.Person,
            observer_identifying_attributes=sr.PersonObserverIdentifyingAttributes(
                name=_person(sign.name)
            ),
        )
    return sr.ObservationContext(observer_person_context=person, observer_device_context=device)


def _person(name: str) -> str:
    """A name as typed, as the family part of a DICOM person name."""
    return name if "^" in name else f"{name}^"


def _groups(ledger: Ledger) -> list[Any]:
    from highdicom import sr

    plan = ledger.plan
    structures: dict[str, Structure] = {s.id: s for s in plan.structures}
    jaw = plan.known_jaw or "lower"
    groups: list[Any] = []
    subjects: list[Fixture | Site] = [*plan.fixtures, *plan.sites]
    for subject in subjects:
        fixture = subject if isinstance(subject, Fixture) else None
        rows = [m for m in ledger.measurements
                if subject.id == (m.site if fixture is None else m.fixture)]  # fmt: skip
        if not rows:
            continue
        numbers = [] if fixture is None else _size(fixture, ledger)
        numbers += [_number(m, ledger, structures, jaw) for m in rows if _is_number(m)]
        groups.append(
            sr.MeasurementsAndQualitativeEvaluations(
                tracking_identifier=sr.TrackingIdentifier(
                    uid=plan_uid(ledger, f"group {subject.id}"), identifier=subject.id
                ),
                finding_type=concepts.SITE if fixture is None else concepts.FIXTURE,
                finding_sites=[_site_of(subject.tooth, jaw)],
                measurements=numbers or None,
                qualitative_evaluations=[
                    _not_assessed(m, jaw) for m in rows if not _is_number(m)
                ] or None,
            )
        )  # fmt: skip
    return groups


def _size(fixture: Fixture, ledger: Ledger) -> list[Any]:
    """Length, with platform and apex as its ends, and the diameters."""
    from highdicom import sr

    def one(what: str, name: Code, value: float, points: Any = None) -> Any:
        return sr.Measurement(
            name=name,
            value=_rounded(value),
            unit=concepts.MILLIMETER,
            tracking_identifier=sr.TrackingIdentifier(
                uid=plan_uid(ledger, f"{fixture.id}/size/{what}"),
                identifier=f"{fixture.id}/size/{what}",
            ),
            referenced_coordinates=points,
        )

    size = fixture.size
    place = _points(np.stack([fixture.platform, fixture.apex]), ledger)
    return [
        one("length", concepts.LENGTH, size.length_mm, place),
        one("diameter", concepts.DIAMETER, size.diameter_mm),
        one("platform", concepts.own("platform-width"), size.platform),
        one("apex", concepts.own("apex-width"), size.apical),
    ]


def _site_of(tooth: str, jaw: str) -> Any:
    from highdicom import sr

    if tooth in concepts.TEETH:
        side = concepts.LEFT if tooth[0] in "23" else concepts.RIGHT
        return sr.FindingSite(concepts.tooth_code(tooth), laterality=side)
    return sr.FindingSite(concepts.MAXILLA if jaw == "upper" else concepts.MANDIBLE)


def _is_number(m: Measurement) -> bool:
    """An upper bound is no measured value: the true one can only be smaller."""
    return m.value is not None and not m.reading.upper_bound


def _number(m: Measurement, ledger: Ledger, structures: dict[str, Structure], jaw: str) -> Any:
    from highdicom import sr

    value = _rounded(m.value)
    doubt = None if m.budget is None else _rounded(m.budget.expanded)
    unit = _unit(m)
    properties = None
    if doubt is not None:
        properties = sr.MeasurementProperties(
            upper_measurement_uncertainty=doubt, lower_measurement_uncertainty=doubt
        )
        for item in properties:
            # The library writes "no units"; an uncertainty has the unit of its value.
            item.MeasuredValueSequence[0].MeasurementUnitsCodeSequence = [
                sr.CodedConcept.from_code(unit)
            ]
    number = sr.Measurement(
        name=concepts.name_of(m.kind),
        value=value,
        unit=unit,
        tracking_identifier=sr.TrackingIdentifier(uid=plan_uid(ledger, m.id), identifier=m.id),
        finding_sites=[
            sr.FindingSite(
                concepts.target_code(m, structures, jaw),
                topographical_modifier=concepts.side_of(m, jaw),
            )
        ],
        method=concepts.method_of(m.kind),
        properties=properties,
        referenced_coordinates=_witness(m, ledger),
    )
    number[0].ContentSequence.extend(_beside(m, jaw))
    return number


def _beside(m: Measurement, jaw: str) -> list[Any]:
    """What else a number is to be read with; TID 300 is extensible."""
    kind = "least-value" if m.reading.lower_bound else "measured"
    found = [_text(concepts.COMMENT, row_words(m, jaw=jaw)),
             _code(concepts.own("value-kind"), concepts.own(kind))]  # fmt: skip
    if m.budget is not None:
        found.append(_figure(concepts.own("coverage-factor"), COVERAGE, codes.UCUM.NoUnits))
    if m.at_least is not None:
        found.append(_figure(concepts.own("at-least"), m.at_least, _unit(m)))
    depth = depth_mm(m)
    if depth is not None:
        found.append(_figure(concepts.own("crest-depth"), depth, concepts.MILLIMETER))
    if m.limit is not None:
        found.append(_figure(concepts.own("limit"), m.limit.value, concepts.MILLIMETER))
        found.append(_text(concepts.own("limit-source"), str(m.limit.source)))
    return found


def _unit(m: Measurement) -> Code:
    unit: Code = codes.UCUM.Degree if m.reading.unit == "deg" else concepts.MILLIMETER
    return unit


def _figure(name: Code, value: float, unit: Code) -> Any:
    from highdicom import sr

    return sr.NumContentItem(
        name=name,
        value=_rounded(value),
        unit=unit,
        relationship_type=sr.RelationshipTypeValues.HAS_PROPERTIES,
    )


def _text(name: Code, value: str) -> Any:
    from highdicom import sr

    return sr.TextContentItem(
        name=name, value=value, relationship_type=sr.RelationshipTypeValues.HAS_PROPERTIES
    )


def _code(name: Code, value: Code) -> Any:
    from highdicom import sr

    return sr.CodeContentItem(
        name=name, value=value, relationship_type=sr.RelationshipTypeValues.HAS_PROPERTIES
    )


def _witness(m: Measurement, ledger: Ledger) -> list[Any] | None:
    if m.reading.witness is None:
        return None
    return _points(np.stack(m.reading.witness), ledger)


def _points(points: Array, ledger: Ledger) -> list[Any]:
    """A line in the scan's frame of reference, or the one point that it comes to."""
    from highdicom import sr

    touching = bool(np.allclose(points[0], points[1], atol=1e-6))
    return [
        sr.CoordinatesForMeasurement3D(
            # A line of no length is refused by readers: one point then stands for both.
            graphic_type="POINT" if touching else "POLYLINE",
            graphic_data=points[:1] if touching else points,
            frame_of_reference_uid=ledger.scan.frame_of_reference_uid,
        )
    ]


def _not_assessed(m: Measurement, jaw: str) -> Any:
    """An evaluation: which quantity is not known, or known to be at most so much, and why."""
    from highdicom import sr

    name = concepts.NOT_ASSESSED if m.value is None else concepts.UPPER_BOUND
    found = sr.QualitativeEvaluation(name=name, value=concepts.name_of(m.kind))
    row = sr.TextContentItem(
        name=codes.DCM.TrackingIdentifier,
        value=m.id,
        relationship_type=sr.RelationshipTypeValues.HAS_OBS_CONTEXT,
    )
    words = ". ".join((row_words(m, jaw=jaw), *(n.message for n in m.reading.notes)))
    below = [row, _text(concepts.COMMENT, words)]
    if m.value is not None:
        below.append(_figure(concepts.own("at-most"), m.value, _unit(m)))
    found[0].ContentSequence = sr.ContentSequence(below)
    return found


def _rounded(value: float | None) -> float:
    if value is None:
        raise ValueError("a row without a value has no number")
    return round(float(value), DECIMALS) + 0.0
