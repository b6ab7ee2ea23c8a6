"""One case as rows of the table: measurements, or one row that says why there are none."""

from __future__ import annotations

from app.studies.cases import Case
from core.errors import SoundingError
from core.image.in_threads import one_thread_only
from core.words.study import COLUMNS as OWN

Row = dict[str, object]

LEFT_OUT = ("patient_id", "birth_date")
"""A table of many cases needs neither."""


def measured_rows(case: Case) -> list[Row]:
    """Rows of one case; whatever goes wrong with it is a row too.

    The same plan, scan and program give the same rows on every machine of one kind, for one
    thread measures and no time of day is in them.
    """
    try:
        return _rows(case)
    except SoundingError as refusal:
        return [fault_row(case, refusal)]
    except MemoryError:
        return [fault_row(case, SoundingError("memory-short"))]
    except Exception as fault:  # noqa: BLE001  one case's fault must not end a thousand others
        return [fault_row(case, SoundingError("study-fault", kind=type(fault).__name__))]


def fault_row(case: Case, refusal: SoundingError) -> Row:
    """The one row of a case that could not be measured."""
    return _head(case) | {"fault_code": refusal.code, "fault": str(refusal)}


def _head(case: Case) -> Row:
    values = (case.name, case.plan_file, case.scan_path, None, None)
    return dict(zip(OWN, values, strict=True))


def _rows(case: Case) -> list[Row]:
    from core.measuring.assemble import run_case
    from core.plans.history import sign_off_state
    from core.sheet.csv_table import ledger_rows

    if case.scan is None:
        name = case.plan.name
        raise SoundingError("study-no-scan", plan=case.plan_file, stem=name.partition(".")[0])
    for path, shown in ((case.plan, case.plan_file), (case.scan, case.scan_path)):
        if not path.exists():
            raise SoundingError("input-missing", path=shown)
    one_thread_only()  # workers share the cores between cases, not within one
    ledger = run_case(str(case.plan), str(case.scan), series=case.series or None)
    signed = sign_off_state(ledger.plan) == "signed"
    head = _head(case)
    return [
        head | {name: value for name, value in row.items() if name not in LEFT_OUT}
        for row in ledger_rows(ledger, signed=signed)
    ]
