"""Agreement of two series of readings, after Bland and Altman: difference against mean."""

from __future__ import annotations

import numpy as np

from core.pictures.plot import Axis, Level, Plot, Series, spread_of
from core.trust.figures import nearest
from core.trust.repeat_result import Comparison
from core.words.catalogue import say


def agreement_plot(comparison: Comparison) -> Plot:
    """The differences of a comparison, their mean, and the limits of agreement.

    Bland, Altman 1986, Lancet 327:307.
    """
    found = comparison.error.agreement
    means = 0.5 * (comparison.first + comparison.second)
    differences = comparison.first - comparison.second
    reach = np.array([*differences, *found.lower_interval, *found.upper_interval, 0.0])
    left, right = spread_of(means)
    low, high = spread_of(reach)
    return Plot(
        title=say("pictures.agreement.title"),
        subtitle=say("pictures.agreement.pairs", title=comparison.title, count=found.pairs),
        x=Axis(words=say("pictures.agreement.mean"), low=left, high=right, unit=" mm", decimals=2),
        y=Axis(
            words=say("pictures.agreement.difference"), low=low, high=high, unit=" mm", decimals=2
        ),
        series=(
            Series(
                name=str(comparison.title), style="witness", x=means, y=differences, shape="dots"
            ),
        ),
        levels=(
            Level(
                name=say("pictures.agreement.upper", value=nearest(found.upper, 2)),
                style="limit of agreement",
                value=found.upper,
                interval=found.upper_interval,
            ),
            Level(
                name=say("pictures.agreement.middle", value=nearest(found.bias, 2)),
                style="mean difference",
                value=found.bias,
                interval=found.bias_interval,
            ),
            Level(
                name=say("pictures.agreement.lower", value=nearest(found.lower, 2)),
                style="limit of agreement",
                value=found.lower,
                interval=found.lower_interval,
            ),
        ),
    )
