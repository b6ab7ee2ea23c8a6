"""The remaining bone as a plot: depth runs down and direction across; no view of the patient."""

from __future__ import annotations

from core.identity import inner_side
from core.pictures.plot import Axis, Field, FieldLine, Plot
from core.pictures.remaining_bone_picture import RemainingBonePicture
from core.words.catalogue import say
from core.words.values import SIDES

SHADES = (-3.0, 5.0)
"""mm of bone shown as black and as white: bone of 5 mm and more has the lightest grey."""


def direction_marks(jaw: str | None, *, named: bool = True) -> tuple[tuple[float, str], ...]:
    """Turn in degrees and word of the directions below the picture."""
    inner = str(SIDES[inner_side(jaw)])
    # Without a tooth mesial has no meaning: +90 degrees then lies towards the patient's left.
    minus = str(SIDES["distal"]) if named else say("pictures.side.towards-right")
    plus = str(SIDES["mesial"]) if named else say("pictures.side.towards-left")
    buccal = str(SIDES["buccal"])
    return (-180.0, inner), (-90.0, minus), (0.0, buccal), (90.0, plus), (180.0, inner)


def remaining_bone_plot(
    picture: RemainingBonePicture, *, jaw: str | None, named: bool = True
) -> Plot:
    """Greys by mm of bone, lines of 1 to 4 mm, the limit heavy, what is below it and unknown.

    Parameters
    ----------
    picture : RemainingBonePicture
    jaw : str or None
        ``upper`` or ``lower``, for the words of the directions.
    named : bool, optional
        False for a fixture without a tooth: then it has no mesial and no distal.
    """
    below = bool(picture.below.any())
    deepest = max(float(picture.depths_mm[-1]), 1e-6)
    return Plot(
        title=say("pictures.wall.title"),
        x=Axis(
            words="",
            low=-180.0,
            high=180.0,
            unit="°",
            decimals=0,
            names=direction_marks(jaw, named=named),
        ),
        y=Axis(words=say("pictures.wall.depth"), low=0.0, high=deepest, unit=" mm", downwards=True),
        field=Field(
            words=say("pictures.wall.bone"),
            unit=" mm",
            x=picture.turns_deg,
            y=picture.depths_mm,
            values=picture.bone_mm,
            unknown=picture.unknown,
            below=picture.below,
            shades=SHADES,
            lines=tuple(
                FieldLine(
                    points=line.points,
                    label=line.label,
                    style="limit line" if line.is_limit else "bone line",
                    below=below and line.is_limit,
                )
                for line in picture.lines
            ),
        ),
    )
