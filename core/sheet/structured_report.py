"""The ledger as a DICOM Comprehensive 3D SR: measurements only, never an impression.

PS3.16 TID 1500, one measurement group (TID 1501) for each fixture or site; every number with a
tracking identifier that is the ledger's row, finding sites by tooth and structure, and its
witness points as 3D coordinates in the scan's frame of reference. What was not assessed stands
in the group as such, so that no reader takes silence for "nothing there". No verdict is written.
Until a signature belongs to this very plan the object is PRELIMINARY, UNVERIFIED and says DRAFT.
"""

from __future__ import annotations

import warnings
from datetime import datetime
from typing import Any

import numpy as np
from pydicom.dataset import Dataset
from pydicom.sr.codedict import codes

from core.errors import OutputError
from core.measurement import Measurement
from core.measuring.ledger import Ledger
from core.measuring.row_names import row_words
from core.plans.history import sign_off_state
from core.sheet import concepts
from core.sheet.parts import refuse_contradiction
from core.sheet.study import (
    MANUFACTURER,
    as_file,
    equipment,
    own_uid,
    say_pseudonymous,
    stamp,
    study_instances,
)
from core.structures import Structure
from core.version import PROGRAM
from core.words.sheet import DRAFT

DECIMALS = 4
"""As in the ledger file."""

_SERIES_NUMBER = 9901


def structured_report(ledger: Ledger) -> bytes:
    """The ledger as a Comprehensive 3D SR file in the scan's study.

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
            series_instance_uid=own_uid(ledger, "report series"),
            series_number=_SERIES_NUMBER,
            sop_instance_uid=own_uid(ledger, f"report {signed}"),
            instance_number=1,
            manufacturer=MANUFACTURER,
            is_complete=signed,
            is_final=signed,
            is_verified=signed,
            **verified,
        )
    equipment(document)
    stamp(document, ledger)
    say_pseudonymous(document, ledger.scan)
    document.CodingSchemeIdentificationSequence = [_own_scheme()]
    words = "Measurement report" if signed else f"{DRAFT} - measurement report"
    document.SeriesDescription = words.replace("–", "-")
    document.CompletionFlagDescription = document.SeriesDescription
    if signed and plan.sign_off is not None:
        when = datetime.fromisoformat(plan.sign_off.at)
        item = document.VerifyingObserverSequence[0]
        item.VerificationDateTime = when.strftime("%Y%m%d%H%M%S%z")
    return as_file(document)


def _own_scheme() -> Dataset:
    item = Dataset()
    item.CodingSchemeDesignator = concepts.PRIVATE
    item.CodingSchemeName = "Concepts of the program Sounding"
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
    subjects = [(f.id, f.tooth, True) for f in plan.fixtures]
    subjects += [(s.id, s.tooth, False) for s in plan.sites]
    for subject, tooth, is_fixture in subjects:
        rows = [m for m in ledger.measurements if subject == (m.fixture if is_fixture else m.site)]
        if not rows:
            continue
        groups.append(
            sr.MeasurementsAndQualitativeEvaluations(
                tracking_identifier=sr.TrackingIdentifier(
                    uid=own_uid(ledger, f"group {subject}"), identifier=subject
                ),
                finding_type=concepts.FIXTURE if is_fixture else concepts.SITE,
                finding_sites=[_site_of(tooth, jaw)],
                measurements=[
                    _number(m, ledger, structures, jaw) for m in rows if _is_number(m)
                ] or None,
                qualitative_evaluations=[
                    _not_assessed(m, jaw) for m in rows if not _is_number(m)
                ] or None,
            )
        )  # fmt: skip
    return groups


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
    unit = codes.UCUM.Degree if m.reading.unit == "deg" else codes.UCUM.Millimeter
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
    return sr.Measurement(
        name=concepts.name_of(m.kind),
        value=value,
        unit=unit,
        tracking_identifier=sr.TrackingIdentifier(uid=own_uid(ledger, m.id), identifier=m.id),
        finding_sites=[sr.FindingSite(concepts.target_code(m, structures, jaw))],
        method=concepts.worded(row_words(m, jaw=jaw)),
        properties=properties,
        referenced_coordinates=_witness(m, ledger),
    )


def _witness(m: Measurement, ledger: Ledger) -> list[Any] | None:
    from highdicom import sr

    if m.reading.witness is None:
        return None
    points = np.stack(m.reading.witness)
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
    from highdicom import sr

    words = row_words(m, jaw=jaw)
    if m.value is not None:
        words = f"{words}: at most {_rounded(m.value):g} {m.reading.unit}"
        return sr.QualitativeEvaluation(name=concepts.UPPER_BOUND, value=concepts.worded(words))
    return sr.QualitativeEvaluation(name=concepts.NOT_ASSESSED, value=concepts.worded(words))


def _rounded(value: float | None) -> float:
    if value is None:
        raise ValueError("a row without a value has no number")
    return round(float(value), DECIMALS) + 0.0
