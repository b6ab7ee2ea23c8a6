"""One quantity of the self-test against its truth."""

from __future__ import annotations

from dataclasses import dataclass

from core.words.catalogue import Words


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One quantity against its truth.

    Parameters
    ----------
    what : Words
    found : float or None
        None where nothing was measured: then the check is not passed.
    true, bound : float
        The check is passed while ``abs(found - true) <= bound``.
    unit : {'mm', 'deg', ''}
    """

    what: Words
    found: float | None
    true: float
    bound: float
    unit: str = "mm"

    @property
    def passed(self) -> bool:
        """True only where something was found, and near enough."""
        return self.found is not None and abs(self.found - self.true) <= self.bound


def holds(what: Words, yes: bool) -> Check:
    """A question of yes or no as a check."""
    return Check(what=what, found=float(yes), true=1.0, bound=0.0, unit="")
