"""What the uncertainty of a measurement is made of, as bars: each part's share of the whole."""

from __future__ import annotations

import numpy as np

from core.measurement import Budget, TermName
from core.pictures.plot import Axis, Plot, Series
from core.trust.figures import nearest, up
from core.words.catalogue import say
from core.words.sheet import TERMS


def shares(budget: Budget) -> dict[TermName, float]:
    """Each term's part of the combined variance, 0 to 1; nothing where there is none at all."""
    total = budget.u**2
    if not total > 0:
        return {}
    return {term.name: term.u**2 / total for term in budget.terms if term.u > 0}


def budget_plot(budget: Budget, *, name: str, unit: str) -> Plot | None:
    """A bar a term, the largest on top; None where nothing is uncertain.

    Parameters
    ----------
    budget : Budget
    name : str
        Of the measurement.
    unit : str
        ``mm`` or ``deg``.
    """
    parts = sorted(shares(budget).items(), key=lambda part: -part[1])
    if not parts:
        return None
    sign, decimals = ("°", 1) if unit == "deg" else (" mm", 2)
    of = {term.name: term for term in budget.terms}
    names = tuple(
        (float(n), f"{TERMS[term]} {nearest(of[term].u, 2)}{sign}")
        for n, (term, _) in enumerate(parts)
    )
    rows = np.arange(len(parts), dtype=np.float64)
    return Plot(
        title=say("pictures.budget.title", name=name),
        subtitle=say("pictures.budget.whole", whole=f"{up(budget.expanded, decimals)}{sign}"),
        x=Axis(words=say("pictures.budget.share"), low=0.0, high=100.0, unit=" %", decimals=0),
        y=Axis(words="", low=-0.6, high=len(parts) - 0.4, downwards=True, names=names),
        series=(
            Series(
                name=say("pictures.budget.share"),
                style="share",
                x=np.array([100.0 * part for _, part in parts]),
                y=rows,
                shape="bars",
            ),
        ),
    )
