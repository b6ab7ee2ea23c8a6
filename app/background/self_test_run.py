"""The self-test as a whole: draws two jaws, writes, reads and measures them, tells the result.

Shared by the command line and the bench.
"""

from __future__ import annotations

import secrets
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from app.background.self_test_jaws import lower_jaw, upper_jaw
from core.atomic import write_whole
from core.errors import SoundingError
from core.measuring.self_test import SelfTest, this_machine
from core.measuring.self_test_check import Check
from core.measuring.self_test_rules import rule_checks
from core.sheet.self_test_page import self_test_pdf
from core.words.catalogue import say

SEEDS = 1_000_000


def new_seed() -> int:
    """A seed that nobody chose."""
    return secrets.randbelow(SEEDS)


def self_test(seed: int, *, told: Callable[[str], None] = lambda _: None) -> SelfTest:
    """Run the whole self-test; nothing is left behind.

    Parameters
    ----------
    seed : int
        Pose of the jaws, blur and noise are drawn from it.
    told : callable
        Is told each step as it begins.
    """
    began = time.monotonic()
    draw = np.random.default_rng(seed)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        told(say("background.self_test_run.checking-the-rules"))
        parts = (
            (say("background.self_test_run.the-rules"), rule_checks()),
            (
                say("background.self_test_run.the-lower-jaw"),
                lower_jaw(draw, seed, folder / "lower", told),
            ),
            (
                say("background.self_test_run.the-upper-jaw"),
                upper_jaw(draw, seed, folder / "upper", told),
            ),
        )
        checks = tuple(check for part, found in parts for check in _to_the_end(part, found))
    return SelfTest(
        seed=seed,
        at=datetime.now(UTC).astimezone().isoformat(timespec="seconds"),
        seconds=time.monotonic() - began,
        checks=checks,
        machine=this_machine(),
    )


def _to_the_end(part: str, checks: Iterator[Check]) -> Iterator[Check]:
    """The checks of a part; where the program breaks off on it, a check that is not passed.

    What the program says of a scan or plan that it refuses is meant for a patient's: here nothing
    is wrong with either, so a refusal is a fault of this installation and is told as one.
    """
    try:
        yield from checks
    except SoundingError as refused:
        yield Check(
            what=say(
                "background.self_test_run.broke-off-refused-with", part=part, code=refused.code
            ),
            found=None,
            true=1.0,
            bound=0.0,
            unit="",
        )
    except Exception as fault:  # noqa: BLE001 - whatever it is, the test has failed
        yield Check(
            what=say("background.self_test_run.broke-off", part=part, name=type(fault).__name__),
            found=None,
            true=1.0,
            bound=0.0,
            unit="",
        )


def write_self_test(run: SelfTest, folder: Path) -> tuple[Path, Path]:
    """Write the dated page as PDF and JSON; returns both paths.

    Raises
    ------
    OutputError
        When a file cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    stem = f"self-test-{run.at[:19].replace(':', '').replace('T', '-')}"
    pdf, document = folder / f"{stem}.pdf", folder / f"{stem}.json"
    write_whole(pdf, self_test_pdf(run))
    write_whole(document, run.to_json().encode("utf-8"))
    return pdf, document
