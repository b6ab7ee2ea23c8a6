"""Measures the session's plan in the background: quickly first, then whole."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from PySide6.QtCore import QObject

from app.background.tasks import Latest, Task
from app.case.basis_cache import KeptBasis
from core.distances.freehand import Series
from core.image.volume import Volume
from core.measuring.assemble import measure
from core.measuring.ledger import Ledger
from core.plans.plan import Plan


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measured:
    """A ledger and what it rests on.

    Parameters
    ----------
    ledger : Ledger
        `ledger.plan` is the plan that was measured.
    whole : bool
        False: the quick rows only, without bone rows.
    """

    ledger: Ledger
    whole: bool


class Measuring(QObject):
    """Newest plan wins; whoever asked hears through the two functions.

    Parameters
    ----------
    basis : KeptBasis
        Of the case; a plan on the same arch is measured without making it anew.
    done : callable
        With the `Measured` of the newest plan.
    failed : callable
        With the reason why it could not be measured at all.
    """

    def __init__(
        self,
        basis: KeptBasis,
        done: Callable[[Measured], None],
        failed: Callable[[Exception], None],
        parent: QObject | None = None,
    ) -> None:
        super().__init__(parent)
        self._latest = Latest(done, failed, parent=self)
        self._basis = basis

    @property
    def busy(self) -> bool:
        """True while a plan is being measured."""
        return self._latest.busy

    @property
    def awaited(self) -> bool:
        """True while an answer is still to come."""
        return self._latest.awaited

    def ask(self, plan: Plan, volume: Volume, *, whole: bool, own: Series | None = None) -> None:
        """Measure a plan; what was asked before is dropped.

        Parameters
        ----------
        own : Series, optional
            The operator's own mean deviations, see `core.measuring.assemble.measure`.
        """
        kept = self._basis

        def work(task: Task) -> Measured:
            basis = kept.of(plan, volume)
            ledger = measure(
                plan, volume, basis=basis, fine=whole, cancelled=task.cancelled, own=own
            )
            return Measured(ledger=ledger, whole=whole)

        self._latest.ask(work)

    def fits(self, plan: Plan, volume: Volume) -> bool:
        """True when a plan can be measured quickly: only things on a known arch were changed."""
        return self._basis.at_hand(plan, volume) is not None

    def drop(self) -> None:
        """Forget what was asked; the basis is kept."""
        self._latest.drop()
