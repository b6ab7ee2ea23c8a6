"""Whose sheet it is: name, birth date, ID, scan date and its age, in words that always print."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from core.findings import Finding
from core.image.volume import ScanIdentity
from core.inert import one_line
from core.sheet.text import code_point, set_text


@dataclass(frozen=True, slots=True, kw_only=True)
class PatientWords:
    """Identity as printed on every page.

    Parameters
    ----------
    name : str
    birth, patient_id, scanned : str
        With their words: ``born 1961-04-02``, ``ID S-0107``, ``scanned 2026-09-14 (...)``.
    finding : Finding or None
        Where the name could not be printed as the scan holds it.
    """

    name: str
    birth: str
    patient_id: str
    scanned: str
    finding: Finding | None = None

    @property
    def line(self) -> str:
        """Everything in one line."""
        return f"{self.name} · {self.birth} · {self.patient_id} · {self.scanned}"


def patient_words(identity: ScanIdentity, made_at: str) -> PatientWords:
    """Identity of a scan in words.

    Parameters
    ----------
    identity : ScanIdentity
    made_at : str
        ISO 8601, the moment from which the scan's age is counted.
    """
    name, finding = printable_name(identity.patient_name)
    return PatientWords(
        name=name or "name: not in the scan",
        birth=f"born {identity.birth_date}"
        if identity.birth_date
        else "birth date: not in the scan",
        patient_id=f"ID {identity.patient_id}" if identity.patient_id else "ID: not in the scan",
        scanned=_scanned(identity.study_date, made_at),
        finding=finding,
    )


def printable_name(patient_name: str) -> tuple[str, Finding | None]:
    """A DICOM person name as it can be printed here, and what had to give.

    The name groups (PS3.5 6.2.1.2) are alphabetic, ideographic and phonetic; ``^`` parts them.
    Where a character has no glyph, the alphabetic group stands alone if it is complete; else the
    code points stand in clear.
    """
    groups = [_group(g) for g in one_line(patient_name).split("=")]
    latin, others = groups[0], [g for g in groups[1:] if g]
    if not latin and not others:
        return "", Finding("name-missing", "caution")
    whole = f"{latin} ({', '.join(others)})" if latin and others else latin or ", ".join(others)
    missing = set_text(whole, size_pt=10).missing
    if not missing:
        return whole, None
    fields = {"characters": " ".join(dict.fromkeys(code_point(c) for c in missing))}
    if latin and not set_text(latin, size_pt=10).missing:
        return latin, Finding("name-in-latin", "note", fields)
    return whole, Finding("name-in-codes", "caution", fields)


def _group(group: str) -> str:
    """``Family^Given^Middle^Prefix^Suffix`` → ``Family, Given Middle``; other scripts spaced."""
    parts = [p.strip() for p in group.split("^")]
    family, rest = parts[0], " ".join(p for p in parts[1:] if p)
    if not rest or not family:
        return family or rest
    cased = any(c.lower() != c.upper() for c in family)
    return f"{family}, {rest}" if cased else f"{family} {rest}"


def _scanned(study_date: str, made_at: str) -> str:
    if not study_date:
        return "scan date: not in the scan"
    try:
        scan, made = date.fromisoformat(study_date), datetime.fromisoformat(made_at).date()
    except ValueError:
        return f"scanned {study_date}"
    days = (made - scan).days
    if days < 0:
        return f"scanned {study_date} (after the date of this sheet: check the clock)"
    if days < 60:
        age = f"{days} day{'' if days == 1 else 's'}"
    else:
        months = (made.year - scan.year) * 12 + made.month - scan.month - (made.day < scan.day)
        age = f"{months} months" if months < 24 else f"{months // 12} years"
    return f"scanned {study_date} ({age} old)"
