"""The same case without a name: for teaching, second opinions and fault reports.

After the basic profile of PS3.15 annex E: names and identifiers are replaced, dates are shifted
by one number of days a case, the times of the work are left out, UIDs are replaced consistently,
marks are named by their kinds, free text and device names are removed. Everything follows from a
secret of the practice: the same case gives the same pseudonym again, and nobody without the secret
can undo it. A pseudonymous case is never signed. Teeth and jaws in the pictures stay what they are:
they may still be known again by who has treated them.
"""

from __future__ import annotations

import hashlib
import hmac
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from uuid import UUID

from core.findings import Finding
from core.image.volume import ScanIdentity, Volume
from core.measurement import Budget, Limit, Measurement, Note
from core.measurement_kinds import ClearanceDetails, MeasurementKind
from core.measuring.ledger import Ledger
from core.plans.plan import Plan
from core.plans.plan_file import plan_fingerprint
from core.pseudonym_ids import new_names, with_names
from core.structures import PointMarks
from core.trust.operator_precision import placement_of
from core.words.catalogue import Message, message

REMOVED = "removed"
_UNLABELLED = {
    MeasurementKind.RULER: message("measuring.of.two-marks"),
    MeasurementKind.ANGLE: message("measuring.of.three-marks"),
}
"""What a ruler and an angle are of where nobody called them anything."""

REASON = "reason removed"
MONTHS = "6 or more"
AGAINST = ("patient", "chart")
"""What a side is compared with; anything else is free text."""

_KEPT_HEADERS = frozenset({"KVP", "SOPClassUID", "PhotometricInterpretation"})
_DATE = re.compile(r"(?<!\d)(?:19|20)\d\d-?(?:0\d|1[0-2])-?(?:[0-2]\d|3[01])(?!\d)")
_UID = re.compile(r"\d+(?:\.\d+){3,}")
_LEAST_LETTERS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Pseudonym:
    """What replaces what in one case.

    Parameters
    ----------
    secret : bytes
        Of the practice; kept, never written.
    identity : ScanIdentity
        Whose case it is.
    """

    secret: bytes
    identity: ScanIdentity

    def __post_init__(self) -> None:
        if len(self.secret) < 16:
            raise ValueError("a secret of 16 bytes or more is needed: a short one can be guessed")

    def _digest(self, what: str) -> bytes:
        return hmac.new(self.secret, what.encode("utf-8"), hashlib.sha256).digest()

    @property
    def label(self) -> str:
        """``P-`` and eight digits: name and ID of the case."""
        whose = f"{self.identity.patient_name}|{self.identity.patient_id}"
        return f"P-{self._digest(f'patient {whose}').hex()[:8].upper()}"

    @property
    def days(self) -> int:
        """Days that every date of the case moves into the past: 30 to 729."""
        number = int.from_bytes(self._digest(f"days {self.label}")[:4], "big")
        return 30 + number % 700

    def uid(self, uid: str) -> str:
        """The same UID for the same UID, of the form 2.25; empty stays empty."""
        if not uid:
            return ""
        return f"2.25.{UUID(bytes=self._digest(f'uid {uid}')[:16], version=4).int}"

    def person(self, name: str) -> str:
        """A person who worked on the case; empty stays empty."""
        return f"person {self._digest(f'person {name}').hex()[:4]}" if name else ""

    def day(self, text: str) -> str:
        """A day of the scan, shifted; what cannot be read is removed."""
        try:
            return (date.fromisoformat(text[:10]) - timedelta(days=self.days)).isoformat()
        except (ValueError, OverflowError):
            return ""

    @property
    def made_at(self) -> str:
        """Stands for the moment of measuring: the shifted day of the scan.

        The time of a file, or of the message that brought it, tells nearly when it was made. Any
        moment of the work, shifted beside it, would give the shift away and with it every date.
        """
        day = self.day(self.identity.study_date) or "2000-01-01"
        return f"{day}T00:00:00+00:00"

    def free(self, text: str) -> str:
        """Text of a finding: itself, unless it holds a name, an identifier, a date or a UID."""
        hit = any(word in text for word in identifying(self.identity))
        return REMOVED if hit or _DATE.search(text) or _UID.search(text) else text


def pseudonymous(
    plan: Plan, volume: Volume, ledger: Ledger, *, secret: bytes
) -> tuple[Plan, Volume, Ledger]:
    """The same case under a pseudonym; every number in it is unchanged.

    Parameters
    ----------
    plan : Plan
    volume : Volume
    ledger : Ledger
    secret : bytes
    """
    alias = Pseudonym(secret=secret, identity=volume.identity)
    identity = _identity(alias)
    names = new_names(plan)
    plan, ledger = with_names(plan, names), _named_anew(ledger, names)
    new_plan = _plan(plan, alias)
    findings = _findings(volume.findings, alias)
    new_ledger = replace(
        ledger,
        plan=new_plan,
        plan_fingerprint=plan_fingerprint(new_plan),
        scan=identity,
        # A sum over the voxels tells whoever holds the scan which one it was.
        scan_fingerprint="",
        made_at=alias.made_at,
        findings=_findings(ledger.findings, alias),
        measurements=tuple(
            _measurement(_of_nobody(m, plan, new_plan), alias) for m in ledger.measurements
        ),
        hindrances={
            subject: tuple(replace(h, note=_note(h.note, alias)) for h in hindrances)
            for subject, hindrances in ledger.hindrances.items()
        },
    )
    return new_plan, replace(volume, identity=identity, findings=findings), new_ledger


def identifying(identity: ScanIdentity) -> tuple[str, ...]:
    """Every string of a scan that must not be found in a pseudonymous file.

    Names and their parts, IDs, dates in both spellings, UIDs, device, institution and free text.
    """
    texts = {
        identity.patient_id, identity.study_uid, identity.series_uid,
        identity.frame_of_reference_uid, identity.description, identity.study_description,
        *(uid for _, uid in identity.sop_instances),
    }  # fmt: skip
    for name in (identity.patient_name, identity.header.get("ReferringPhysicianName", "")):
        texts |= {part for part in re.split(r"[\^=\s]+", name) if len(part) >= _LEAST_LETTERS}
    for keyword, value in identity.header.items():
        if keyword.endswith(("Date", "DateTime")) or keyword in _IDENTIFYING_HEADERS:
            texts.add(value)
    for day in (identity.birth_date, identity.study_date):
        texts |= {day, day.replace("-", "")}
    return tuple(sorted(t for t in texts if len(t) >= _LEAST_LETTERS))


_IDENTIFYING_HEADERS = frozenset(
    {
        "AccessionNumber", "DeviceSerialNumber", "ImageComments", "InstitutionName",
        "IssuerOfPatientID", "Manufacturer", "ManufacturerModelName", "ProtocolName",
        "SeriesDescription", "StationName", "StudyDescription", "StudyID",
    }
)  # fmt: skip


def _identity(alias: Pseudonym) -> ScanIdentity:
    old = alias.identity
    return ScanIdentity(
        patient_name=alias.label,
        patient_id=alias.label,
        birth_date=REMOVED,
        study_date=alias.day(old.study_date),
        modality=old.modality,
        series_uid=alias.uid(old.series_uid),
        study_uid=alias.uid(old.study_uid),
        frame_of_reference_uid=alias.uid(old.frame_of_reference_uid),
        header={
            **{k: v for k, v in old.header.items() if k in _KEPT_HEADERS},
            "PatientIdentityRemoved": "YES",
        },
        sop_instances=tuple((kind, alias.uid(uid)) for kind, uid in old.sop_instances),
    )


def _plan(plan: Plan, alias: Pseudonym) -> Plan:
    tie = plan.scan
    if tie is not None:
        tie = replace(
            tie,
            series_uid=alias.uid(tie.series_uid),
            frame_of_reference_uid=alias.uid(tie.frame_of_reference_uid),
            fingerprint="",
        )
    side, image, hand = plan.side_check, plan.image_check, plan.own_hand
    return replace(
        plan,
        scan=tie,
        structures=tuple(
            replace(s, label="") if isinstance(s, PointMarks) else s for s in plan.structures
        ),
        rulers=tuple(replace(r, label="") for r in plan.rulers),
        angles=tuple(replace(a, label="") for a in plan.angles),
        declared=tuple(
            replace(d, by=alias.person(d.by), at="", reason=_reason(str(d.reason)))
            for d in plan.declared
        ),
        side_check=None
        if side is None
        else replace(
            side,
            by=alias.person(side.by),
            at="",
            against=side.against if side.against in AGAINST else "",
        ),
        image_check=None if image is None else replace(image, by=alias.person(image.by), at=""),
        own_hand=None
        if hand is None
        else replace(
            hand,
            person=alias.person(hand.person),
            by=alias.person(hand.by),
            studied="",
            at="",
        ),
        accepted={},
        reasons={key: _reason(text) for key, text in plan.reasons.items()},
        interpreted_by=alias.person(plan.interpreted_by),
        interpreted_at="",
        limits={
            key: replace(c, by=alias.person(c.by), at="", reason=_reason(c.reason))
            for key, c in plan.limits.items()
        },
        sign_off=None,
        notes=(),
        history=(),
        document={},
    )


def _reason(text: str) -> str:
    """That there was a reason stays, since a declaration without one counts for nothing."""
    return REASON if text.strip() else ""


def _findings(findings: Iterable[Finding], alias: Pseudonym) -> tuple[Finding, ...]:
    return tuple(replace(f, fields=_fields(f.fields, alias)) for f in findings)


def _fields(fields: Mapping[str, object], alias: Pseudonym) -> dict[str, object]:
    """Fields of a sentence: text is looked through, numbers stay."""
    found: dict[str, object] = {}
    for key, value in fields.items():
        if key in ("by", "person", "others"):
            found[key] = alias.person(str(value))
        elif key == "reason":
            found[key] = REASON
        elif key == "months":
            # With the day of the file it would tell when the scan was made.
            found[key] = MONTHS
        elif isinstance(value, bool | int | float):
            found[key] = value
        else:
            said = str(value)
            found[key] = value if alias.free(said) == said else REMOVED
    return found


def _note(note: Note, alias: Pseudonym) -> Note:
    return Note(note.code, _fields(note.fields, alias))


def _maybe(note: Note | None, alias: Pseudonym) -> Note | None:
    return None if note is None else _note(note, alias)


def _named_anew(ledger: Ledger, names: Mapping[str, str]) -> Ledger:
    return replace(
        ledger,
        measurements=with_names(ledger.measurements, names),
        findings=with_names(ledger.findings, names),
        hindrances=with_names(dict(ledger.hindrances), names),
    )


def _of_nobody(m: Measurement, plan: Plan, new_plan: Plan) -> Measurement:
    """Without what a person called a ruler or an angle, the doubt's source under the pseudonym."""
    plans = (plan, new_plan)
    drawn = {r.id for p in plans for r in p.rulers} | {a.id for p in plans for a in p.angles}
    if m.kind in _UNLABELLED and m.target in drawn:
        m = replace(m, details=replace(m.details, of=_UNLABELLED[m.kind]))
    if m.budget is None or plan.own_hand is None:
        return m
    before, after = placement_of(plan).source, placement_of(new_plan).source
    terms = (replace(t, source=after) if t.source == before else t for t in m.budget.terms)
    return replace(m, budget=Budget(terms=tuple(terms)))


def _measurement(m: Measurement, alias: Pseudonym) -> Measurement:
    notes = tuple(_note(n, alias) for n in m.reading.notes)
    proof = m.reading.evidence
    evidence = replace(
        proof,
        levels=_maybe(proof.levels, alias),
        found=_maybe(proof.found, alias),
        nearer=_maybe(proof.nearer, alias),
    )
    details = m.details
    if isinstance(details, ClearanceDetails):
        own = details.own_figures
        if isinstance(own, Message):
            own = Message(own.key, {**own.fields, "by": alias.person(str(own.fields["by"]))})
        elif own:
            own = REMOVED
        details = replace(details, label="", own_figures=own)
    return replace(
        m,
        reading=replace(m.reading, notes=notes, evidence=evidence),
        limit=None if m.limit is None else _limit(m.limit, alias),
        details=details,
    )


def _limit(limit: Limit, alias: Pseudonym) -> Limit:
    return replace(
        limit,
        changed_by=alias.person(limit.changed_by),
        changed_at="",
        reason=_reason(limit.reason),
    )
