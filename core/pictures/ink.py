"""Every line, dash, symbol and colour of the pictures, named by what it means, once.

The set of colours is the one of Okabe and Ito (2008), chosen to be told apart by people with
any colour vision. One colour has one meaning: vermilion is *below limit* and nothing else.
On paper all else is black on a white casing and is told apart by dash and hatch, so that a
greyscale print loses nothing. Renderers (paper, PNG, bench) take everything from here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from core.kinds import KINDS, Hue
from core.words.catalogue import Words, message

Colour: TypeAlias = tuple[float, float, float]

BLACK: Colour = (0.0, 0.0, 0.0)
WHITE: Colour = (1.0, 1.0, 1.0)
IVORY: Colour = (0.945, 0.929, 0.878)
CHARCOAL: Colour = (0.106, 0.118, 0.133)
GREY: Colour = (0.42, 0.42, 0.42)
PALE: Colour = (0.80, 0.80, 0.80)
SKY_BLUE: Colour = (0.337, 0.706, 0.914)
BLUISH_GREEN: Colour = (0.0, 0.620, 0.451)
YELLOW: Colour = (0.941, 0.894, 0.259)
ORANGE: Colour = (0.902, 0.624, 0.0)
REDDISH_PURPLE: Colour = (0.800, 0.475, 0.655)
VERMILION: Colour = (0.835, 0.369, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """How a line of one meaning is drawn.

    Parameters
    ----------
    width_mm : float
        Of the ink, on paper at 1 : 1.
    case_mm : float
        Of the casing on either side of the ink; 0 for none.
    dash_mm : tuple of float
        Lengths of ink and gap in turn; empty for an unbroken line.
    double : bool
        An open double outline: the middle of the ink is left in the casing's colour.
    on_dark : Colour
        Ink on the dark surroundings of a screen.
    """

    width_mm: float = 0.25
    case_mm: float = 0.2
    dash_mm: tuple[float, ...] = ()
    double: bool = False
    on_dark: Colour = IVORY


_HUES: dict[Hue, Colour] = {
    "ivory": IVORY, "reddish purple": REDDISH_PURPLE, "orange": ORANGE, "sky blue": SKY_BLUE,
}  # fmt: skip

STROKES: dict[str, Stroke] = {
    **{
        drawn.style: Stroke(
            width_mm=drawn.width_mm,
            dash_mm=drawn.dash_mm,
            double=drawn.double,
            on_dark=_HUES[drawn.hue],
        )
        for drawn in (kind.drawn for kind in KINDS)
        if drawn is not None
    },
    "fixture": Stroke(width_mm=0.55, case_mm=0.15, double=True),
    "other size": Stroke(width_mm=0.2, case_mm=0.12, dash_mm=(0.5, 0.5)),
    "fixture axis": Stroke(width_mm=0.15, dash_mm=(2.4, 0.6, 0.4, 0.6)),
    "depth tick": Stroke(width_mm=0.2, case_mm=0.15),
    "canal hatch": Stroke(width_mm=0.14, case_mm=0.1, on_dark=REDDISH_PURPLE),
    "root to be removed": Stroke(width_mm=0.2, dash_mm=(0.3, 0.9), on_dark=SKY_BLUE),
    "cortex": Stroke(width_mm=0.14, case_mm=0.07, dash_mm=(0.45, 0.35), on_dark=BLUISH_GREEN),
    "stent axis": Stroke(width_mm=0.25, dash_mm=(3.2, 0.5, 0.5, 0.5, 0.5, 0.5), on_dark=YELLOW),
    "proposed": Stroke(width_mm=0.2, case_mm=0.1, dash_mm=(0.9, 0.7), on_dark=REDDISH_PURPLE),
    "proposed, not seen": Stroke(
        width_mm=0.16, case_mm=0.08, dash_mm=(0.25, 0.9), on_dark=REDDISH_PURPLE
    ),
    "distance line": Stroke(width_mm=0.14, case_mm=0.12),
    "witness": Stroke(width_mm=0.3, case_mm=0.25),
    "witness off plane": Stroke(width_mm=0.3, case_mm=0.25, dash_mm=(0.5, 0.35)),
    "arch": Stroke(width_mm=0.2),
    "station tick": Stroke(width_mm=0.15, case_mm=0.12),
    "site line": Stroke(width_mm=0.35),
    "jaw plane": Stroke(width_mm=0.15, dash_mm=(1.6, 1.6)),
    "ruler": Stroke(width_mm=0.15, case_mm=0.1),
    "bone line": Stroke(width_mm=0.2, case_mm=0.2),
    "limit line": Stroke(width_mm=0.7, case_mm=0.25),
    "bone below limit": Stroke(width_mm=0.18, case_mm=0.0),
    "not found": Stroke(width_mm=0.14, case_mm=0.0),
    "zero line": Stroke(width_mm=0.12, case_mm=0.0),
    "mean difference": Stroke(width_mm=0.35, case_mm=0.0),
    "limit of agreement": Stroke(width_mm=0.3, case_mm=0.0, dash_mm=(2.0, 1.0)),
    "interval": Stroke(width_mm=0.2, case_mm=0.0),
    "width near the crest": Stroke(width_mm=0.2, case_mm=0.0),
    "width in the middle": Stroke(width_mm=0.35, case_mm=0.0, dash_mm=(2.0, 1.0)),
    "width at depth": Stroke(width_mm=0.35, case_mm=0.0, dash_mm=(0.7, 1.0)),
    "needed width": Stroke(width_mm=0.2, case_mm=0.0, dash_mm=(1.4, 1.4)),
    "grey values": Stroke(width_mm=0.25, case_mm=0.0),
    "share": Stroke(width_mm=0.25, case_mm=0.0),
    "not scanned": Stroke(width_mm=0.1, case_mm=0.0, on_dark=(0.36, 0.38, 0.40)),
}

WORDS: dict[str, Words] = {
    **{kind.drawn.style: kind.drawn.legend for kind in KINDS if kind.drawn is not None},
    "fixture": message("pictures.legend.fixture"),
    "other size": message("pictures.legend.other-size"),
    "root to be removed": message("pictures.legend.root-to-be-removed"),
    "cortex": message("pictures.legend.cortex"),
    "stent axis": message("pictures.legend.stent-axis"),
    "distance line": message("pictures.legend.distance-line"),
    "witness": message("pictures.legend.witness"),
    "witness off plane": message("pictures.legend.witness-off-plane"),
    "jaw plane": message("pictures.legend.jaw-plane"),
    "mean difference": message("pictures.legend.mean-difference"),
    "limit of agreement": message("pictures.legend.limit-of-agreement"),
    "interval": message("pictures.legend.interval"),
    "not scanned": message("pictures.legend.not-scanned"),
}
"""What the legend of a picture says about a line; a style without words is left out there."""

GLYPHS: dict[str | None, str] = {
    "meets limit": "≥",
    "too near to tell": "≈",
    "below limit": "<",
    "not assessed": "?",
    None: "",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Scheme:
    """Ink on one ground."""

    name: Literal["paper", "dark"]
    ground: Colour
    ink: Colour
    casing: Colour
    quiet: Colour
    not_scanned: Colour
    """What stands below the hatch where nothing was scanned."""

    def stroke_colour(self, style: str, *, below: bool) -> Colour:
        """Ink of a line; vermilion only for what is below its limit."""
        if below:
            return VERMILION
        return STROKES[style].on_dark if self.name == "dark" else self._paper(style)

    def _paper(self, style: str) -> Colour:
        return GREY if style == "not scanned" else self.ink


PAPER = Scheme(
    name="paper", ground=WHITE, ink=BLACK, casing=WHITE, quiet=(0.33, 0.33, 0.33), not_scanned=WHITE
)
DARK = Scheme(
    name="dark",
    ground=CHARCOAL,
    ink=IVORY,
    casing=(0.05, 0.06, 0.07),
    quiet=(0.68, 0.68, 0.66),
    not_scanned=(0.16, 0.17, 0.19),
)
