"""What measuring rests on, made once for an arch and kept for whoever measures in this case."""

from __future__ import annotations

import threading

from core.image.volume import Volume
from core.measuring.basis import Basis
from core.plans.plan import Plan


class KeptBasis:
    """The basis asked for last; `of` is called by workers."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._basis: Basis | None = None
        self._case = 0

    def of(self, plan: Plan, volume: Volume) -> Basis:
        """The basis of a plan on a scan; a second worker waits for the first to make it.

        Raises
        ------
        PlanError
            Those of `core.measuring.basis.settled_arch`.
        """
        case = self._case
        with self._lock:
            basis = self._basis
            if basis is None or not basis.fits(plan, volume):
                basis = Basis.of(plan, volume)
                if case == self._case:  # a closed case must not be held by work of its own
                    self._basis = basis
            return basis

    def at_hand(self, plan: Plan, volume: Volume) -> Basis | None:
        """The basis where it was made already, else None; never waits."""
        basis = self._basis
        return basis if basis is not None and basis.fits(plan, volume) else None

    def forget(self) -> None:
        """Let go of the scan."""
        self._case += 1
        self._basis = None
