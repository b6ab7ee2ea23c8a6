"""What each command does: reads, asks core, writes. Imports stand where they are needed.

Every function takes the parsed arguments and returns nothing; a refusal is a `SoundingError`.
"""

from __future__ import annotations

import argparse
import json
import sys
from typing import TYPE_CHECKING

from core.errors import SoundingError
from core.inert import one_line

if TYPE_CHECKING:
    from core.image.volume import Volume
    from core.measuring.ledger import Ledger
    from core.plans.plan import Plan
    from core.scan import SeriesReport
    from core.sheet.folder import Written

SAMPLE = "lower_left_36"
"""The sample scan that the demo measures."""


def inspect(asked: argparse.Namespace) -> None:
    """Print what an export holds and what limits measuring on it."""
    from core.scan import inspect as inspected

    reports = inspected(asked.path)
    if asked.json:
        print(json.dumps({"series": [r.to_json() for r in reports]}, indent=2, ensure_ascii=False))
        return
    for report in reports:
        print("\n".join(_as_text(report)))


def _as_text(report: SeriesReport) -> list[str]:
    k, j, i = report.shape
    size = "voxel size unknown"
    if report.voxel_mm is not None:
        size = f"{' × '.join(f'{step:.4g}' for step in report.voxel_mm)} mm"
    whose = report.identity
    return [
        f"{report.key}",
        one_line(
            f"  {whose.patient_name or 'no name'}, born {whose.birth_date or 'unknown'},"
            f" ID {whose.patient_id or 'none'}, scan of {report.date or 'unknown date'}"
        ),
        one_line(
            f"  {report.modality} {report.description or '(no description)'}:"
            f" {i} × {j} × {k} voxels, {size}"
        ),
        "  Can be measured on." if report.usable else "  CAN NOT be measured on.",
        *(one_line(f"  {f.severity}: {f.message}") for f in report.findings),
    ]


def measure(asked: argparse.Namespace) -> None:
    """Print the ledger of a plan on its scan; write it as JSON where that was asked."""
    from app.cli.measurement_table import as_text

    _, ledger = _measured(asked)
    if asked.json is not None:
        from core.atomic import write_whole

        write_whole(asked.json, ledger.to_json().encode("utf-8"))
    print(as_text(ledger))


def section(asked: argparse.Namespace) -> None:
    """Write one section across the arch, with its chart, as a picture."""
    from core import load_plan, open_scan
    from core import measure as measured
    from core.sheet.writer import section_png

    plan = load_plan(asked.plan)
    volume = open_scan(asked.scan, series=asked.series)
    # Measured even without fixtures: a plan of another scan or an open side is refused there.
    ledger = measured(plan, volume, fine=False)
    section_png(volume, plan, ledger, asked.station, asked.out)
    print(f"The section is in {asked.out}")


def sheet(asked: argparse.Namespace) -> None:
    """Write the sheet of a plan (PDF, CSV, JSON, pictures) and the record beside it."""
    from core.measuring.drill_table import read_drills_file
    from core.plans.sizes import default_sizes, load_sizes
    from core.sheet.day import Day
    from core.sheet.folder import write_folder
    from core.sheet.parts import PARTS
    from core.sheet.patient_page import read_risks
    from core.sheet.record import RecordSettings

    # What a person has to mend is told before minutes are spent on measuring.
    drills = () if asked.drills is None else read_drills_file(asked.drills)
    sizes = default_sizes() if asked.sizes is None else load_sizes(asked.sizes)
    risks = "" if asked.risks is None else read_risks(asked.risks)
    secret = b""
    if asked.pseudonymous:
        from app.case.secret import practice_secret

        secret = practice_secret()
    parts = {"sheet": ("sheet",), "record": PARTS[1:]}.get(asked.only, PARTS)
    volume, ledger = _measured(asked)
    settings = RecordSettings(
        paper=asked.paper,
        without_viewing=True,
        day=Day(drills=drills, sizes=sizes),
        risks=risks,
        secret=secret,
    )
    written = write_folder(ledger.plan, volume, ledger, asked.out, parts, settings, leave_out=True)
    print(ledger.summary)
    _tell_written(written)


def _tell_written(written: Written) -> None:
    print("\n".join(f"written: {path}" for path in written.files))
    for name in written.removed:
        print(f"taken out, of an earlier state of the plan: {name}")
    for part, refusal in written.left_out.items():
        print(f"left out: {part}: {refusal}")


def demo(asked: argparse.Namespace) -> None:
    """Do the whole job on the sample scan and say where the sheet is."""
    from pathlib import Path

    import sample_volumes
    from app.cli.measurement_table import as_text
    from core import load_plan, open_scan
    from core import measure as measured
    from core.sheet.folder import write_folder
    from core.sheet.record import RecordSettings

    print("Sounding on its sample scan: an invented patient, made from exact geometry.")
    volume = open_scan(sample_volumes.path(SAMPLE))
    plan = load_plan(sample_volumes.path(f"{SAMPLE}.plan.json"))
    ledger = measured(plan, volume)
    folder = Path("sounding-sheet") if asked.out is None else asked.out
    settings = RecordSettings(without_viewing=True)
    written = write_folder(plan, volume, ledger, folder, settings=settings)
    print(as_text(ledger))
    print(f"\nThe measurement sheet is {written.files[0].resolve()}")
    beside = ", ".join(path.name for path in written.files[1:])
    print(f"Beside it: {beside}")


def verify(asked: argparse.Namespace) -> None:
    """Test the program on an invented scan; exit status 1 where a check is out of its bound."""
    from pathlib import Path

    from app.background.self_test_run import new_seed, self_test, write_self_test
    from core.measuring.self_test import NOT_THE_SCANNER

    seed = new_seed() if asked.seed is None else asked.seed
    print(f"Self-test of the program, seed {seed}.")
    run = self_test(seed, told=lambda step: print(f"  {step} ...", flush=True))
    folder = Path("sounding-self-test") if asked.out is None else asked.out
    files = write_self_test(run, folder)
    print(f"{run.sentence} ({run.seconds:.0f} s)")
    print(NOT_THE_SCANNER)
    print("\n".join(f"written: {path}" for path in files))
    if not run.passed:
        sys.exit(1)


def components(asked: argparse.Namespace) -> None:
    """List what the program is made of; write it as a software bill of materials."""
    from app.components import bill_of_materials, licence_lines

    if asked.out is None:
        print("\n".join(licence_lines()))
        return
    from core.atomic import write_whole

    write_whole(asked.out, bill_of_materials().encode("utf-8"))
    print(f"written: {asked.out}")


def _measured(asked: argparse.Namespace) -> tuple[Volume, Ledger]:
    """Scan and ledger of a command that names a plan and its scan."""
    from core import load_plan, open_scan
    from core import measure as measured

    plan = load_plan(asked.plan)
    if asked.hand is not None:
        plan = _with_hand(plan, asked)
    volume = open_scan(asked.scan, series=asked.series)
    # The voxels are compared too: a series can be exported twice with other contents.
    return volume, measured(plan, volume)


def _with_hand(plan: Plan, asked: argparse.Namespace) -> Plan:
    """The plan with a repeat study taken over: a signed one is then another one, and says so."""
    from dataclasses import replace

    from app.case.attestations import now_iso
    from app.case.repeat_studies import read_study
    from core.trust.own_hand import own_hand

    study = read_study(asked.hand)
    people = study.people
    person = asked.person or (people[0] if len(people) == 1 else "")
    if person not in people:
        raise SoundingError("repeat-whose-hand", people=", ".join(people) or "nobody")
    hand = own_hand(study, person, by="command line", at=now_iso())
    return replace(plan, own_hand=hand)


def open(asked: argparse.Namespace) -> None:  # noqa: A001  named as the command is
    """Open the bench."""
    from importlib.util import find_spec

    if find_spec("PySide6") is None:
        raise SoundingError("bench-not-installed")
    from app.window.program import show

    sys.exit(show(asked.path))
