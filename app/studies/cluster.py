"""Cases on a Dask cluster that is running; its workers see the same files and have the program."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from importlib.util import find_spec

from app.studies.cases import Case
from app.studies.one_case import Row, fault_row, measured_rows
from core.errors import SoundingError

PATIENCE_S = 20
AT_ONCE = 1000
"""Cases handed out at a time: a scheduler keeps some kilobytes for each."""


def on_cluster(cases: Sequence[Case], address: str) -> Iterator[tuple[Case, list[Row]]]:
    """Each case with its rows, as they are done.

    Memory is bounded by the cluster's own workers; one that dies is a row with that reason.

    Raises
    ------
    SoundingError
        ``study-not-installed``, ``study-no-cluster``.
    """
    if find_spec("distributed") is None:
        raise SoundingError("study-not-installed", what="Dask")
    from distributed import Client, as_completed

    try:
        client = Client(address, timeout=PATIENCE_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise SoundingError("study-no-cluster", address=address, reason=reason) from error
    with client:
        for start in range(0, len(cases), AT_ONCE):
            by_future = {
                client.submit(measured_rows, case, pure=False, retries=1): case
                for case in cases[start : start + AT_ONCE]
            }
            for future in as_completed(list(by_future), loop=client.loop):
                case = by_future[future]
                if future.status == "finished":
                    yield case, future.result()
                else:
                    yield case, [fault_row(case, SoundingError("study-worker-died"))]
                future.release()
