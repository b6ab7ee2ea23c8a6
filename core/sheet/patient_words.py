"""Whose sheet it is: name, birth date, ID, scan date and its age, in words that always print."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from core.findings import Finding
from core.image.volume import ScanIdentity
from core.inert import one_line
from core.plans.case_checks import whole_months
from core.sheet.text import code_point, set_text
from core.words.catalogue import say
from core.words.numbers import date_words


@dataclass(frozen=True, slots=True, kw_only=True)
class PatientWords:
    """Identity as printed on every page, said in the language that is spoken when it is read.

    Parameters
    ----------
    printed_name : str
        Empty where the scan holds none.
    born, number, study_date : str
        As the scan holds them; empty where it does not.
    made_at : str
        ISO 8601, the moment from which the scan's age is counted.
    finding : Finding or None
        Where the name could not be printed as the scan holds it.
    """

    printed_name: str
    born: str
    number: str
    study_date: str
    made_at: str
    finding: Finding | None = None

    @property
    def name(self) -> str:
        """The name, or that there is none."""
        return self.printed_name or say("sheet.patient.no-name")

    @property
    def birth(self) -> str:
        """``born 1961-04-02``."""
        if not self.born:
            return say("sheet.patient.no-birth-date")
        return say("sheet.patient.born", date=date_words(self.born))

    @property
    def patient_id(self) -> str:
        """``ID S-0107``."""
        return f"ID {self.number}" if self.number else say("sheet.patient.no-id")

    @property
    def scanned(self) -> str:
        """``scanned 2026-09-14 (72 days old)``."""
        return _scanned(self.study_date, self.made_at)

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
        printed_name=name,
        born=identity.birth_date,
        number=identity.patient_id,
        study_date=identity.study_date,
        made_at=made_at,
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
        return say("sheet.patient.no-date")
    words = date_words(study_date)
    try:
        scan, made = date.fromisoformat(study_date), datetime.fromisoformat(made_at).date()
    except ValueError:
        return say("sheet.patient.scanned", date=words)
    days = (made - scan).days
    if days < 0:
        return say("sheet.patient.after-sheet", date=words)
    if days < 60:
        return say("sheet.patient.days", date=words, count=days)
    # In months however old it is, as the caution about its age says it.
    return say("sheet.patient.months", date=words, count=whole_months(scan, made))
