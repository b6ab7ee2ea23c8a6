"""Plan files: load, save, migrate, fingerprint, and the tie to one scan.

`core.plans.plan_json` reads strict JSON, `core.plans.plan_parse` makes the plan,
`core.plans.plan_dump` turns it back into text without losing a key.
"""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from typing import Any

from core.atomic import write_whole
from core.errors import OutputError, PlanError
from core.findings import Finding
from core.image.volume import ScanIdentity, Volume
from core.plans.history import head_to_write
from core.plans.plan import Plan, ScanTie
from core.plans.plan_dump import document_of, plan_fingerprint, text_of
from core.plans.plan_json import MAX_BYTES, read_json
from core.plans.plan_parse import parse
from core.plans.plan_table import VERSION
from core.plans.plan_versions import present, version_of
from core.words.catalogue import message

__all__ = ["check_scan", "load_plan", "plan_fingerprint", "save_plan", "tied_to", "tied_to_volume"]


def load_plan(path: str | Path) -> Plan:
    """Read a plan file.

    Raises
    ------
    PlanError
        When there is no such file, it is no plan, it was written by a newer program, or something
        in it is not as it must be (with line and column, or with the place in the document).
    """
    return parse(present(_read(Path(path))))


def save_plan(plan: Plan, path: str | Path, *, mode: int = 0o666) -> None:
    """Write a plan file, whole or not at all.

    A plan of an older version that stands there is kept beside it as ``NAME.v1.json``; a file
    there that is no plan is not overwritten. `mode` as in `core.atomic.write_whole`.

    Parameters
    ----------
    plan : Plan
    path : str or Path
    mode : int, optional
        Permission bits of a new file.

    Raises
    ------
    OutputError
        ``output-not-a-plan``, or what `core.atomic.write_whole` refuses.
    """
    path = Path(path)
    document = document_of(plan)
    head = head_to_write(plan)
    if head is not None:
        document["history_head"] = head
    text = text_of(document).encode("utf-8")
    _keep_original(path)
    write_whole(path, text, mode=mode)


def check_scan(plan: Plan, identity: ScanIdentity, *, fingerprint: str = "") -> tuple[Finding, ...]:
    """Refuse a plan of another scan; say so when the plan names none.

    Parameters
    ----------
    fingerprint : str
        Of the voxels, where it was computed; empty: only the UIDs are compared.

    Raises
    ------
    PlanError
        ``plan-other-scan`` when a UID differs from the plan's, ``plan-scan-changed`` when the
        UIDs are the plan's and the voxels are not.
    """
    tie = plan.scan or ScanTie()
    pairs = (
        ("plans.scan.series", tie.series_uid, identity.series_uid),
        ("plans.scan.frame", tie.frame_of_reference_uid, identity.frame_of_reference_uid),
    )
    for what, planned, found in pairs:
        # A scan without a UID is a difference too.
        if planned and planned != found:
            raise PlanError(
                "plan-other-scan",
                what=message(what),
                planned=planned,
                found=found or message("plans.scan.none"),
            )
    # Empty: it is not computed yet, and whoever gives a number asks again.
    if tie.fingerprint and fingerprint and tie.fingerprint != fingerprint:
        raise PlanError("plan-scan-changed")
    if not (tie.series_uid or tie.fingerprint):
        return (Finding("plan-not-tied", "caution"),)
    return ()


def tied_to(plan: Plan, identity: ScanIdentity, *, fingerprint: str) -> Plan:
    """Fill in what the plan does not yet say about its scan.

    Parameters
    ----------
    plan : Plan
    identity : ScanIdentity
    fingerprint : str

    Raises
    ------
    PlanError
        ``plan-other-scan``, ``plan-scan-changed`` when what it says differs.
    """
    check_scan(plan, identity, fingerprint=fingerprint)
    tie = plan.scan or ScanTie()
    return replace(
        plan,
        scan=ScanTie(
            series_uid=tie.series_uid or identity.series_uid,
            frame_of_reference_uid=tie.frame_of_reference_uid or identity.frame_of_reference_uid,
            fingerprint=tie.fingerprint or fingerprint,
        ),
    )


def tied_to_volume(plan: Plan, volume: Volume) -> Plan:
    """Fill in what the plan does not yet say about its scan; a signed one is left as it is.

    Raises
    ------
    PlanError
        Those of `check_scan`.
    """
    if plan.sign_off is not None:
        check_scan(plan, volume.identity, fingerprint=volume.fingerprint())
        return plan
    return tied_to(plan, volume.identity, fingerprint=volume.fingerprint())


def _read(path: Path) -> dict[str, Any]:
    try:
        # Only as much as a plan can hold: the wrong file may be a whole scan.
        with path.open("rb") as file:
            return read_json(file.read(MAX_BYTES + 1))
    except FileNotFoundError as error:
        raise PlanError("plan-no-file", path=path) from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise PlanError("plan-unreadable", path=path, reason=reason) from error


def _keep_original(path: Path) -> None:
    if path.is_symlink() or not path.is_file():
        return
    try:
        version = version_of(_read(path))
    except PlanError as error:
        raise OutputError("output-not-a-plan", path=path, reason=str(error)) from error
    if version == VERSION:
        return
    beside = path.with_name(f"{path.name.removesuffix('.json')}.v{version}.json")
    if not os.path.lexists(beside):
        write_whole(beside, path.read_bytes())
