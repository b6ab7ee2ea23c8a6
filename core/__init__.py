"""Sounding's measuring half: everything here computes, nothing here shows.

Names are resolved at first use (PEP 562), so that ``sounding --help`` pays for none of them::

    from core import open_scan, load_plan, measure
    volume = open_scan(path)
    ledger = measure(load_plan(plan_path), volume)
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from core.errors import OutputError, PlanError, ScanError, SoundingError
    from core.image.volume import Volume
    from core.measuring.assemble import measure, run_case
    from core.measuring.ledger import Ledger
    from core.plans.plan_file import load_plan, save_plan
    from core.scan import inspect, open_scan

__all__ = [
    "Ledger",
    "OutputError",
    "PlanError",
    "ScanError",
    "SoundingError",
    "Volume",
    "inspect",
    "load_plan",
    "measure",
    "open_scan",
    "run_case",
    "save_plan",
]

DISTRIBUTION = "sounding"
"""Whose package this is: `app.__main__` starts nothing beside a foreign one of the same name."""

_HOME = {
    "Ledger": "core.measuring.ledger",
    "OutputError": "core.errors",
    "PlanError": "core.errors",
    "ScanError": "core.errors",
    "SoundingError": "core.errors",
    "Volume": "core.image.volume",
    "inspect": "core.scan",
    "load_plan": "core.plans.plan_file",
    "measure": "core.measuring.assemble",
    "open_scan": "core.scan",
    "run_case": "core.measuring.assemble",
    "save_plan": "core.plans.plan_file",
}


def __getattr__(name: str) -> object:
    """Import the module that holds a public name, at the name's first use."""
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module 'core' has no attribute {name!r}")


def __dir__() -> list[str]:
    """Public names, whether resolved yet or not."""
    return sorted(__all__)
