"""What each command does: reads, asks core, writes. Imports stand where they are needed.

Every function takes the parsed arguments and returns nothing; a refusal is a `SoundingError`.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import replace
from typing import TYPE_CHECKING

from app.cli.progress import Progress
from core.errors import SoundingError
from core.inert import one_line
from core.words.catalogue import say

if TYPE_CHECKING:
    from app.archive.node import Connection
    from core.image.volume import Volume
    from core.measuring.basis import Basis
    from core.measuring.ledger import Ledger
    from core.plans.plan import Plan
    from core.scan import SeriesReport
    from core.sheet.folder import Written

SAMPLE = "lower_left_36"
"""The sample scan that the demo measures."""

_COMMITMENT = {
    "confirmed": "cli.commands.commitment.confirmed",
    "refused": "cli.commands.commitment.refused",
    "not confirmed": "cli.commands.commitment.not-confirmed",
    "not asked": "cli.commands.commitment.not-asked",
    "not offered": "cli.commands.commitment.not-offered",
}


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
    size = say("cli.commands.voxel-size-unknown")
    if report.voxel_mm is not None:
        size = f"{' × '.join(f'{step:.4g}' for step in report.voxel_mm)} mm"
    whose = report.identity
    patient = say(
        "cli.commands.patient",
        name=whose.patient_name or say("cli.commands.no-name"),
        birth=whose.birth_date or say("cli.commands.unknown"),
        id=whose.patient_id or say("cli.commands.none"),
        date=report.date or say("cli.commands.unknown-date"),
    )
    series = say(
        "cli.commands.series",
        modality=report.modality,
        description=report.description or say("cli.commands.no-description"),
        i=i,
        j=j,
        k=k,
        size=size,
    )
    usable = say("cli.commands.usable") if report.usable else say("cli.commands.not-usable")
    told = (patient, series, usable, *(f"{f.severity}: {f.message}" for f in report.findings))
    return [f"{report.key}", *(f"  {one_line(text)}" for text in told)]


def measure(asked: argparse.Namespace) -> None:
    """Print the ledger of a plan on its scan; write it as JSON where that was asked."""
    from app.cli.measurement_table import as_text

    with _progress(asked) as tell:
        _, ledger, _ = _measured(asked, tell)
    if asked.json == "-":
        print(ledger.to_json())
        return
    if asked.json is not None:
        from core.atomic import write_whole

        write_whole(asked.json, ledger.to_json().encode("utf-8"))
    if not (asked.quiet and asked.json):
        print(as_text(ledger))


def section(asked: argparse.Namespace) -> None:
    """Write one section across the arch, with its chart, as a picture."""
    from core import load_plan, open_scan
    from core import measure as measured
    from core.sheet.writer import section_png

    plan = load_plan(asked.plan)
    with _progress(asked) as tell:
        tell.stage(say("cli.commands.reading-slices"))
        volume = open_scan(asked.scan, series=asked.series, progress=tell.count)
        tell.stage(say("cli.commands.measuring"))
        # Measured even without fixtures: a plan of another scan or an open side is refused there.
        ledger = measured(plan, volume, fine=False)
        section_png(volume, plan, ledger, asked.station, asked.out)
    if not asked.quiet:
        print(say("cli.commands.the-section-is-in", out=asked.out))


def sheet(asked: argparse.Namespace) -> None:
    """Write the sheet of a plan (PDF, CSV, JSON, pictures) and the record beside it."""
    from core.measuring.drill_table import read_drills_file
    from core.plans.sizes import default_sizes, load_sizes
    from core.sheet.day import Day
    from core.sheet.folder import write_folder
    from core.sheet.parts import PARTS, THE_SHEET
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
    record = tuple(part for part in PARTS if part not in THE_SHEET)
    parts = {"sheet": THE_SHEET, "record": record}.get(asked.only, PARTS)
    settings = RecordSettings(
        paper=asked.paper,
        language=asked.language,
        without_viewing=True,
        day=Day(drills=drills, sizes=sizes),
        risks=risks,
        secret=secret,
    )
    with _progress(asked) as tell:
        volume, ledger, basis = _measured(asked, tell)
        tell.stage(say("cli.commands.writing-the-sheet"))
        written = write_folder(
            ledger.plan, volume, ledger, asked.out, parts, settings, leave_out=True,
            basis=basis, progress=tell.share,
        )  # fmt: skip
    if not asked.quiet:
        print(ledger.summary)
        print("\n".join(say("cli.commands.written-2", path=path) for path in written.files))
        for name in written.removed:
            print(say("cli.commands.taken-out-of-an-earlier", name=name))
    _tell_left_out(written)
    _tell_name(ledger)


def _tell_name(ledger: Ledger) -> None:
    """Say that the patient's name could not be printed as the scan holds it."""
    from core.sheet.patient_words import patient_words

    finding = patient_words(ledger.scan, ledger.made_at).finding
    if finding is not None:
        print(one_line(finding.message), file=sys.stderr)


def _tell_left_out(written: Written) -> None:
    """What a case cannot have is no list of what was written: told however quiet a run is."""
    for part, refusal in written.left_out.items():
        told = say("cli.commands.left-out", part=part, refusal=refusal)
        print(one_line(told), file=sys.stderr)


def demo(asked: argparse.Namespace) -> None:
    """Do the whole job on the sample scan and say where the sheet is."""
    from pathlib import Path

    import sample_volumes
    from app.cli.measurement_table import as_text
    from core import load_plan, open_scan
    from core import measure as measured
    from core.sheet.folder import write_folder
    from core.sheet.record import RecordSettings

    if not asked.quiet:
        print(say("cli.commands.sounding-on-its-sample-scan"))
    plan = load_plan(sample_volumes.path(f"{SAMPLE}.plan.json"))
    folder = Path("sounding-sheet") if asked.out is None else asked.out
    settings = RecordSettings(without_viewing=True)
    with _progress(asked) as tell:
        tell.stage(say("cli.commands.reading-slices"))
        volume = open_scan(sample_volumes.path(SAMPLE), progress=tell.count)
        tell.stage(say("cli.commands.measuring"))
        ledger = measured(plan, volume)
        tell.stage(say("cli.commands.writing-the-sheet"))
        written = write_folder(plan, volume, ledger, folder, settings=settings, progress=tell.share)
    _tell_left_out(written)
    if asked.quiet:
        return
    print(as_text(ledger))
    print()
    print(say("cli.commands.the-sheet-is", path=written.files[0].resolve()))
    beside = ", ".join(path.name for path in written.files[1:])
    print(say("cli.commands.beside-it", beside=beside))


def verify(asked: argparse.Namespace) -> None:
    """Test the program on an invented scan; exit status 1 where a check is out of its bound."""
    from pathlib import Path

    from app.background.self_test_run import new_seed, self_test, write_self_test
    from core.measuring.self_test import NOT_THE_SCANNER

    seed = new_seed() if asked.seed is None else asked.seed
    print(say("cli.commands.self-test-of-the-program", seed=seed))
    run = self_test(seed, told=lambda step: print(f"  {step} ...", flush=True))
    folder = Path("sounding-self-test") if asked.out is None else asked.out
    files = write_self_test(run, folder)
    print(f"{run.sentence} ({run.seconds:.0f} s)")
    print(NOT_THE_SCANNER)
    print("\n".join(say("cli.commands.written-2", path=path) for path in files))
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
    print(say("cli.commands.written", out=asked.out))


def schema(asked: argparse.Namespace) -> None:
    """Print the schema of a file, or the codes of the structured report."""
    from app.case.settings_table import settings_schema
    from core.plans.plan_table import plan_schema
    from core.sheet.schemas import codes_of_report, ledger_schema, table_schema

    makers = {
        "table": table_schema,
        "ledger": ledger_schema,
        "plan": plan_schema,
        "settings": settings_schema,
        "codes": codes_of_report,
    }
    print(json.dumps(makers[asked.what](), indent=1, ensure_ascii=False))


def completion(asked: argparse.Namespace) -> None:
    """Print what a shell needs to complete commands and options."""
    from app.cli.completion import script
    from app.cli.parser import parser

    print(script(parser(), asked.shell), end="")


def _progress(asked: argparse.Namespace) -> Progress:
    return Progress(sys.stderr, quiet=asked.quiet)


def _measured(asked: argparse.Namespace, tell: Progress) -> tuple[Volume, Ledger, Basis]:
    """Scan and ledger of a command that names a plan and its scan, and what the ledger rests on."""
    from core import load_plan, open_scan
    from core import measure as measured
    from core.measuring.basis import Basis

    plan = load_plan(asked.plan)
    if asked.hand is not None:
        plan = _with_hand(plan, asked)
    origin = getattr(asked, "depth_from", None)
    if origin is not None:
        plan = replace(plan, depth_from=origin.replace("-", " "))
    tell.stage(say("cli.commands.reading-slices"))
    volume = open_scan(asked.scan, series=asked.series, progress=tell.count)
    tell.stage(say("cli.commands.measuring"))
    # The voxels are compared too: a series can be exported twice with other contents.
    basis = Basis.of(plan, volume)
    return volume, measured(plan, volume, basis=basis), basis


def _with_hand(plan: Plan, asked: argparse.Namespace) -> Plan:
    """The plan with a repeat study taken over: a signed one is then another one, and says so."""
    from app.case.attestations import now_iso
    from app.case.repeat_studies import read_study
    from core.trust.operator_precision import own_hand

    study = read_study(asked.hand)
    people = study.people
    person = asked.person or (people[0] if len(people) == 1 else "")
    if person not in people:
        raise SoundingError("repeat-whose-hand", people=", ".join(people) or "nobody")
    hand = own_hand(study, person, by=say("cli.commands.command-line"), at=now_iso())
    return replace(plan, own_hand=hand)


def open(asked: argparse.Namespace) -> None:  # noqa: A001  named as the command is
    """Open the bench."""
    from importlib.util import find_spec

    if find_spec("PySide6") is None:
        raise SoundingError("bench-not-installed")
    from app.window.program import show

    sys.exit(show(asked.path))


def send(asked: argparse.Namespace) -> None:
    """Send the objects of a sheet's folder to an archive, and say what became of them."""
    from app.archive.sending import send_folder

    with _progress(asked) as tell:
        tell.stage(say("cli.commands.sending"))
        sent = send_folder(
            asked.folder, _connection(asked, asked.to), unsigned=asked.unsigned, again=asked.again,
            commitment=not asked.no_commitment, progress=tell.count,
        )  # fmt: skip
    commitment = say(
        "cli.commands.storage-commitment", commitment=say(_COMMITMENT[sent.commitment])
    )
    if sent.commitment in {"refused", "not confirmed"}:
        print(commitment, file=sys.stderr)
    if asked.quiet:
        return
    for name in sent.stored:
        print(say("cli.commands.stored", name=name))
    if sent.before:
        print(say("cli.commands.stored-before", before=", ".join(sent.before)))
    print(commitment)


def fetch(asked: argparse.Namespace) -> None:
    """List the series of an archive, or open one into the scan cache."""
    from app.archive.fetching import fetch_series
    from app.archive.searching import Search, find_series

    connection = _connection(asked, asked.source)
    if not asked.series:
        search = Search(patient=asked.patient, name=asked.name, day=asked.day, study=asked.study)
        for one in find_series(connection, search):
            count = "?" if one.count is None else one.count
            print(
                one_line(
                    say(
                        "cli.commands.objects",
                        study_uid=one.study_uid,
                        series_uid=one.series_uid,
                        modality=one.modality,
                        study_date=one.study_date,
                        patient_id=one.patient_id,
                        patient_name=one.patient_name,
                        description=one.description,
                        count=count,
                    )
                )
            )
        return
    with _progress(asked) as tell:
        tell.stage(say("cli.commands.fetching-slices"))
        folder = fetch_series(
            connection, asked.study, asked.series, into=asked.out, move=asked.move,
            progress=tell.count,
        )  # fmt: skip
    print(folder)


def _connection(asked: argparse.Namespace, address: str) -> Connection:
    from app.archive.node import Connection, Node, Secured

    tls = Secured(ca=asked.ca, cert=asked.cert, key=asked.key) if asked.tls else None
    return Connection(node=Node.of(address), title=asked.title, listen=asked.listen, tls=tls)


def study(asked: argparse.Namespace) -> None:
    """Measure many plans on their scans into one table."""
    from app.studies.cases import read_cases
    from app.studies.run import run_study
    from app.studies.workers import cores

    cases = read_cases(asked.cases)
    with _progress(asked) as tell:
        tell.stage(say("cli.commands.measuring-cases"))
        tell.count(0, len(cases))
        done = run_study(
            cases, asked.out, workers=asked.workers or cores(), memory_mb=asked.memory_mb,
            scheduler=asked.scheduler or "", again=asked.again, progress=tell.count,
        )  # fmt: skip
    for name, reason in done.faults:
        told = say("cli.commands.not-measured", name=name, reason=reason)
        print(one_line(told), file=sys.stderr)
    if asked.quiet:
        return
    print(
        say(
            "cli.commands.cases-measured-before-not-measurable",
            cases=len(cases),
            before=done.before,
            faults=len(done.faults),
            rows=done.rows,
            out=asked.out,
        )
    )
