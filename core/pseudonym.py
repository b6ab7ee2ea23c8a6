"""The same case without a name: for teaching, second opinions and fault reports.

After the basic profile of PS3.15 annex E: names and identifiers are replaced, dates are shifted
by one number of days a case (so that ages and intervals stay), UIDs are replaced consistently,
free text and device names are removed. Everything follows from a secret of the practice: the
same case gives the same pseudonym again, and nobody without the secret can undo it. A pseudonymous
case is never signed. Teeth and jaws in the pictures stay what they are: they may still be known
again by who has treated them.
"""

from __future__ import annotations

import hashlib
import hmac
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from uuid import UUID

from core.distances.by_hand import OWN_SOURCE
from core.findings import Finding
from core.image.volume import ScanIdentity, Volume
from core.measurement import Budget, Limit, Measurement, Note
from core.measuring.ledger import Ledger
from core.plans.plan import Plan
from core.plans.plan_file import plan_fingerprint
from core.structures import PointMarks
from core.trust.own_hand import placement_of

REMOVED = "removed"
REASON = "reason removed"
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

    def moment(self, text: str) -> str:
        """A date or a moment, shifted; what cannot be read is removed."""
        if not text:
            return ""
        try:
            if len(text) == 10:
                return (date.fromisoformat(text) - timedelta(days=self.days)).isoformat()
            moved = datetime.fromisoformat(text) - timedelta(days=self.days)
        except (ValueError, OverflowError):
            return ""
        return moved.isoformat()

    def free(self, text: str) -> str:
        """Text of a finding: itself, unless it holds a name, an identifier, a date or a UID."""
        hit = any(word in text for word in identifying(self.identity))
        return REMOVED if hit or _DATE.search(text) or _UID.search(text) else text


def pseudonymous(
    plan: Plan, volume: Volume, ledger: Ledger, *, secret: bytes
) -> tuple[Plan, Volume, Ledger]:
    """The same case under a pseudonym; every number in it is unchanged."""
    alias = Pseudonym(secret=secret, identity=volume.identity)
    identity = _identity(alias)
    new_plan = _plan(plan, alias)
    findings = _findings(volume.findings, alias)
    new_ledger = replace(
        ledger,
        plan=new_plan,
        plan_fingerprint=plan_fingerprint(new_plan),
        scan=identity,
        # A sum over the voxels tells whoever holds the scan which one it was.
        scan_fingerprint="",
        made_at=alias.moment(ledger.made_at),
        findings=_findings(ledger.findings, alias),
        measurements=tuple(
            _measurement(_of_nobody(m, plan, new_plan), alias) for m in ledger.measurements
        ),
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


def left_over(identity: ScanIdentity, files: Iterable[tuple[str, bytes]]) -> list[str]:
    """``file: string`` for each identifying string that is found in a file's name or bytes.

    Packed content (the text of a PDF page) is looked at by the caller, unpacked.
    """
    found: list[str] = []
    words = identifying(identity)
    for name, data in files:
        for word in words:
            spellings = {word.encode(code) for code in ("utf-8", "utf-16-be", "utf-16-le")}
            if word in name or any(spelling in data for spelling in spellings):
                found.append(f"{name}: {word}")
    return found


def _identity(alias: Pseudonym) -> ScanIdentity:
    old = alias.identity
    return ScanIdentity(
        patient_name=alias.label,
        patient_id=alias.label,
        birth_date=REMOVED,
        study_date=alias.moment(old.study_date),
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
            replace(d, by=alias.person(d.by), at=alias.moment(d.at), reason=_reason(d.reason))
            for d in plan.declared
        ),
        side_check=None
        if side is None
        else replace(
            side,
            by=alias.person(side.by),
            at=alias.moment(side.at),
            against=alias.free(side.against),
        ),
        image_check=None
        if image is None
        else replace(image, by=alias.person(image.by), at=alias.moment(image.at)),
        own_hand=None
        if hand is None
        else replace(
            hand,
            person=alias.person(hand.person),
            by=alias.person(hand.by),
            studied=alias.moment(hand.studied),
            at=alias.moment(hand.at),
        ),
        interpreted_by=alias.person(plan.interpreted_by),
        interpreted_at=alias.moment(plan.interpreted_at),
        limits={
            key: replace(c, by=alias.person(c.by), at=alias.moment(c.at), reason=_reason(c.reason))
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
    return tuple(Finding(f.code, f.severity, _fields(f.fields, alias)) for f in findings)


def _fields(fields: Mapping[str, object], alias: Pseudonym) -> dict[str, object]:
    """Fields of a sentence: text is looked through, numbers stay."""
    found: dict[str, object] = {}
    for key, value in fields.items():
        if key in ("by", "person", "others"):
            found[key] = alias.person(str(value))
        elif key == "reason":
            found[key] = REASON
        elif isinstance(value, bool | int | float):
            found[key] = value
        else:
            found[key] = alias.free(str(value))
    return found


def _of_nobody(m: Measurement, plan: Plan, new_plan: Plan) -> Measurement:
    """The budget with the source of the marks' doubt under the pseudonym."""
    if m.budget is None or plan.own_hand is None:
        return m
    before, after = placement_of(plan).source, placement_of(new_plan).source
    terms = (replace(t, source=after) if t.source == before else t for t in m.budget.terms)
    return replace(m, budget=Budget(terms=tuple(terms)))


def _measurement(m: Measurement, alias: Pseudonym) -> Measurement:
    notes = tuple(Note(n.code, _fields(n.fields, alias)) for n in m.reading.notes)
    details = {k: v for k, v in m.details.items() if k != "label"}
    if OWN_SOURCE in details:
        by, _, rest = str(details[OWN_SOURCE]).partition(": ")
        details[OWN_SOURCE] = f"{alias.person(by)}: {rest}"
    return replace(
        m,
        reading=replace(m.reading, notes=notes),
        limit=None if m.limit is None else _limit(m.limit, alias),
        details=details,
    )


def _limit(limit: Limit, alias: Pseudonym) -> Limit:
    return replace(
        limit,
        changed_by=alias.person(limit.changed_by),
        changed_at=alias.moment(limit.changed_at),
        reason=_reason(limit.reason),
    )
