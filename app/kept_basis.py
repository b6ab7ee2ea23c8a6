"""What measuring rests on, kept for the panels of one case: made once for an arch, not by each."""

from __future__ import annotations

import threading

from PySide6.QtCore import QObject

from app.session import Session
from core.image.volume import Volume
from core.measuring.basis import Basis
from core.plans.plan import Plan


class KeptBasis(QObject):
    """The basis asked for last; `of` is called by workers."""

    def __init__(self, session: Session) -> None:
        super().__init__(session)
        self._lock = threading.Lock()
        self._basis: Basis | None = None
        session.scan_changed.connect(self.forget)

    def of(self, plan: Plan, volume: Volume) -> Basis:
        """The basis of a plan on a scan; a second worker waits for the first to make it.

        Raises
        ------
        PlanError
            Those of `core.measuring.basis.settled_arch`.
        """
        with self._lock:
            if self._basis is None or not self._basis.fits(plan, volume):
                self._basis = Basis.of(plan, volume)
            return self._basis

    def known(self, plan: Plan, volume: Volume) -> bool:
        """True where it is at hand already; never waits."""
        basis = self._basis
        return basis is not None and basis.fits(plan, volume)

    def forget(self) -> None:
        """Let go of the scan."""
        self._basis = None


def kept_basis(session: Session) -> KeptBasis:
    """The one that belongs to a session; made at the first call, in the window's thread."""
    found = session.findChild(KeptBasis)
    return KeptBasis(session) if found is None else found
