"""The folder of a case: sheet and record made in memory, then written together or not at all."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from core.atomic import write_together
from core.drawing import window_of_volume
from core.errors import OutputError, SoundingError
from core.image.volume import Volume
from core.measuring.basis import Basis
from core.measuring.ledger import LEDGER_FILE, Ledger
from core.plans.plan import Plan
from core.plans.plan_dump import plan_fingerprint
from core.pseudonym import pseudonymous
from core.sheet.case import Case, case_of, ready
from core.sheet.left_over import refuse_left_over
from core.sheet.page import SIZES_MM
from core.sheet.parts import PARTS, check_parts, part_files, part_of, refuse_hindered
from core.sheet.pdf import sheet_pdf
from core.sheet.record import DEFAULTS, REPORT_FILE, Files, Made, RecordSettings

MOST_SETS = 1000
NO_TIME = 946_684_800
"""Start of the year 2000, UTC: the time of files that must not tell when they were made."""

_SHEET_SHARE = 0.6
"""Of the time that a whole folder takes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """What was done in a folder.

    Parameters
    ----------
    files : tuple of Path
        Written, the sheet's PDF first where it is one of them.
    removed : tuple of str
        Files of an earlier state of the plan that had no successor, and were taken out.
    left_out : mapping of part to SoundingError
        Parts that this case cannot have, and why.
    """

    files: tuple[Path, ...]
    removed: tuple[str, ...]
    left_out: Mapping[str, SoundingError]


def settled_case(
    plan: Plan,
    volume: Volume,
    ledger: Ledger,
    *,
    settings: RecordSettings = DEFAULTS,
    basis: Basis | None = None,
) -> Case:
    """What all pages are made of, under its pseudonym where one is wanted.

    Parameters
    ----------
    plan : Plan
    volume : Volume
    ledger : Ledger
    settings : RecordSettings, optional
    basis : Basis or None

    Raises
    ------
    OutputError
        ``paper-unknown``, ``ledger-of-other-plan``, ``ledger-of-other-scan``.
    """
    if settings.paper not in SIZES_MM:
        raise OutputError("paper-unknown", found=settings.paper)
    _refuse_mixed(plan, volume, ledger)
    if settings.secret:
        plan, volume, ledger = pseudonymous(plan, volume, ledger, secret=settings.secret)
    case = case_of(
        plan, volume, ledger, without_viewing=settings.without_viewing,
        window=window_of_volume(volume), basis=basis, day=settings.day,
        sizes=tuple(settings.day.sizes),
    )  # fmt: skip
    return ready(case)


def write_folder(  # noqa: PLR0917 - the order is that of the chain plan → scan → ledger
    plan: Plan,
    volume: Volume,
    ledger: Ledger,
    folder: str | Path,
    parts: Sequence[str] = PARTS,
    settings: RecordSettings = DEFAULTS,
    *,
    leave_out: bool = False,
    basis: Basis | None = None,
    progress: Callable[[float], None] | None = None,
) -> Written:
    """Write sheet and record of a plan: every file, or none.

    Parameters
    ----------
    plan, volume, ledger
        The ledger is that of this plan on this volume; every figure comes from it.
    folder : path
        Made where it is missing. File names hold no patient data.
    parts : sequence of str
        Some of `core.sheet.parts.PARTS`.
    settings : RecordSettings
    leave_out : bool
        True: a part that this case cannot have is left out, and `Written.left_out` tells why.
        False: it is refused, and nothing is written.
    basis : Basis, optional
        That of the measuring, where it is at hand: saves making it once more.
    progress : callable, optional
        Gets numbers that grow to 1; what it raises ends the work with nothing written.

    Raises
    ------
    OutputError
        ``folder-of-other-scan``, ``folder-not-told``, ``pseudonym-left-over``,
        ``record-part-unknown``, those of
        `settled_case`, of the parts and of `core.atomic.write_together`. The folder is then as
        it was.
    """

    def tell(share: float) -> None:
        if progress is not None:
            progress(share)

    check_parts(tuple(parts))
    case = settled_case(plan, volume, ledger, settings=settings, basis=basis)
    earlier = _Earlier.of(Path(folder), case.ledger)
    tell(0.1)
    files, left_out = _made(case, parts, settings, tell, earlier.report, leave_out=leave_out)
    removed = earlier.gone([name for name, _ in files], parts)
    tell(0.95)
    if settings.secret:
        refuse_left_over(volume.identity, files)
    written = write_together(folder, files, without=removed)
    if settings.secret:
        _of_no_time(written)
    tell(1.0)
    return Written(files=written, removed=removed, left_out=left_out)


def folder_within(chosen: str | Path, ledger: Ledger) -> Path:
    """Where a set goes when somebody chose a folder by hand.

    Parameters
    ----------
    chosen : path
    ledger : Ledger
        Its teeth name the new folder; no name of a patient goes into a path.

    Returns
    -------
    Path
        The chosen folder where it is missing, empty or has a set already; else a folder of its
        own in it, so that a dozen files do not lie loose among others: the one of this scan's
        earlier set, or a new one.
    """
    folder = Path(chosen)
    held = _held(folder)
    if not held or LEDGER_FILE in held:
        return folder
    return proposed_folder(folder, ledger)


def proposed_folder(within: str | Path, ledger: Ledger) -> Path:
    """A folder of a set's own: the one of this scan's earlier set, or one that is not there yet.

    Parameters
    ----------
    within : path
    ledger : Ledger
        Its teeth name the folder; no name of a patient goes into a path.
    """
    folder, plan = Path(within), ledger.plan
    teeth = (*(f.tooth for f in plan.fixtures), *(s.tooth for s in plan.sites))
    name = "-".join(("sounding", *dict.fromkeys(tooth for tooth in teeth if tooth)))
    names = (name, *(f"{name}-{number}" for number in range(2, MOST_SETS)))
    for inner in (folder / n for n in names):
        try:
            _Earlier.of(inner, ledger)
        except OutputError:
            continue  # another scan's, or nobody knows whose
        if not _held(inner) or LEDGER_FILE in _held(inner):
            return inner
    return folder / name  # so many sets of others: the writing will refuse, and say why


def _content(path: Path) -> bytes | None:
    """What a file holds; None where there is none that can be read."""
    try:
        return path.read_bytes()
    except OSError:
        return None


def _of_no_time(files: Sequence[Path]) -> None:
    """Set the files' own times to one that tells nothing."""
    for path in files:
        with contextlib.suppress(OSError):
            os.utime(path, (NO_TIME, NO_TIME))


def _held(folder: Path) -> frozenset[str]:
    """Names of what is in a folder; none where it is missing or cannot be read."""
    try:
        return frozenset(entry.name for entry in folder.iterdir())
    except OSError:
        return frozenset()


def _made(
    case: Case,
    parts: Sequence[str],
    settings: RecordSettings,
    tell: Callable[[float], None],
    earlier_report: bytes | None,
    *,
    leave_out: bool,
) -> tuple[Files, dict[str, SoundingError]]:
    left_out: dict[str, SoundingError] = {}
    files: Files = []
    made = Made(earlier_report=earlier_report)
    if "sheet" in parts or "pdf object" in parts:
        # Made once: the archive gets the very bytes that lie in the folder.
        with settings.speaking():
            sheet = sheet_pdf(
                case, paper=settings.paper_name, progress=lambda s: tell(0.1 + _SHEET_SHARE * s)
            )
        made = replace(made, sheet=sheet)
    asked = [part for part in PARTS if part in parts]
    for done, part in enumerate(asked, start=1):
        try:
            refuse_hindered(part, case.ledger)
            found = part_files(part, case, settings, made)
        except OutputError as refusal:
            if not leave_out:
                raise
            left_out[part] = refusal
            continue
        files += found
        if part == "sheet":
            drawn = [(name, data) for name, data in found if name.endswith(".png")]
            made = replace(made, pictures=drawn)
        if part == "basis":
            made = replace(made, basis=found[0][1])
        tell(0.75 + 0.2 * (done / len(asked)))
    files.append((LEDGER_FILE, case.ledger.to_json().encode("utf-8")))
    return files, left_out


@dataclass(frozen=True, slots=True, kw_only=True)
class _Earlier:
    """What stands in a folder already, and whether it is of this very plan."""

    ours: tuple[str, ...] = ()
    same_plan: bool = True
    report: bytes | None = None

    @classmethod
    def of(cls, folder: Path, ledger: Ledger) -> _Earlier:
        """Look; refuse what is of another scan, or of which nothing tells whose it is."""
        try:
            ours = tuple(sorted(p.name for p in folder.iterdir() if part_of(p.name) is not None))
        except OSError:
            # Not there, or not to be read: the writing will tell.
            return cls()
        path = folder / LEDGER_FILE
        if not path.exists():
            if ours:
                raise OutputError("folder-not-told", path=folder, name=ours[0])
            return cls()
        try:
            document = json.loads(path.read_text("utf-8"))
            series, plan = document["scan"]["series_uid"], document["plan"]["fingerprint"]
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise OutputError("folder-not-told", path=folder, name=LEDGER_FILE) from error
        if series != ledger.scan.series_uid:
            raise OutputError("folder-of-other-scan", path=folder)
        same_plan = plan == ledger.plan_fingerprint
        return cls(ours=ours, same_plan=same_plan, report=_content(folder / REPORT_FILE))

    def gone(self, names: Sequence[str], parts: Sequence[str]) -> tuple[str, ...]:
        """Files without a successor: of a part made anew, or of another state of the plan."""
        return tuple(
            name for name in self.ours
            if name not in names and (part_of(name) in parts or not self.same_plan)
        )  # fmt: skip


def _refuse_mixed(plan: Plan, volume: Volume, ledger: Ledger) -> None:
    """Figures of one plan or scan must never stand beside pictures of another."""
    if plan is not ledger.plan and plan_fingerprint(plan) != plan_fingerprint(ledger.plan):
        raise OutputError("ledger-of-other-plan")
    if volume.identity.series_uid != ledger.scan.series_uid:
        raise OutputError("ledger-of-other-scan")
