"""Whether the words of pictures are what the header says of them: width, sign, order, rows.

Each test weighs what the header states against one other way of reading the same words. A picture
of a body is smooth; read with the wrong sign, byte order or row length it is not. Only where the
other way fits clearly better is the header contradicted; noise alone never is.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from core.findings import Finding
from core.scan.codestream import CodedForm
from core.scan.elements import NATIVE
from core.scan.header import ImageHeader
from core.scan.pixel_encoding import Layout, layout_of, padding_words, stored_values

SAMPLED_ROWS = 64
"""Rows of a picture that are looked at, evenly spread."""
SAMPLED_WORDS = 1 << 15
"""Words in one run that are looked at for the length of the rows."""
NEAR_SHARE = 16
"""Neighbouring values are near when they differ by less than this part of their range."""
MIN_PAIRS = 3
MIN_KINDS = 3
"""Fewer different words beyond the jump are a fill, not a picture."""
ROUGH = 0.3
"""Mean step between neighbours over mean deviation; pictures of a body lie well below."""
CLEARLY = 0.5
"""Another reading contradicts the header where it leaves less than this share of the roughness."""


@dataclass(slots=True)
class Wraps:
    """Neighbours on both sides of the sign bit: near one another, or a whole range apart.

    With the right sign they are near (-5 beside +5, or 2047 beside 2049); with the wrong one they
    lie nearly 2 to the power of their bits apart.
    """

    far: int = 0
    near: int = 0
    kinds: set[int] = field(default_factory=set)

    def add(
        self, codes: NDArray[np.int64], padded: NDArray[np.bool_] | None, bits: int, *, signed: bool
    ) -> None:
        """Count the pairs in rows of codes of so many bits.

        Parameters
        ----------
        codes : (rows, cols) int
        padded : (rows, cols) bool or None
            Where nothing was scanned.
        bits : int
            Of a code.
        signed : bool
        """
        top = codes >> (bits - 1)
        across = top[:, 1:] != top[:, :-1]
        if padded is not None:
            across &= ~(padded[:, 1:] | padded[:, :-1])
        if not across.any():
            return
        left, right = codes[:, :-1][across], codes[:, 1:][across]
        apart = np.abs(left - right)
        whole = 1 << bits
        if signed:
            apart = whole - apart
        far = apart > whole - whole // NEAR_SHARE
        self.far += int(far.sum())
        self.near += int((apart < whole // NEAR_SHARE).sum())
        if len(self.kinds) < MIN_KINDS:
            self.kinds |= set(np.maximum(left, right)[far].tolist()[:64])

    @property
    def contradict(self) -> bool:
        """Whether the picture is smooth with the other sign only."""
        return self.far >= MIN_PAIRS and self.far > self.near and len(self.kinds) >= MIN_KINDS


@dataclass(slots=True)
class Proof:
    """What the words of a stack's pictures showed, gathered while they are read.

    Attributes
    ----------
    unfit, swapped, sheared, coded : list of int
        Slices whose words do not fit into BitsStored, are smooth only with their bytes swapped,
        are smooth only with rows and columns exchanged, or come from a codestream of another sign.
    wraps : Wraps
        Of the stated sign; `narrow` of a sign in the highest bit that is used.
    """

    unfit: list[int] = field(default_factory=list)
    swapped: list[int] = field(default_factory=list)
    sheared: list[int] = field(default_factory=list)
    coded: list[int] = field(default_factory=list)
    wraps: Wraps = field(default_factory=Wraps)
    narrow: Wraps = field(default_factory=Wraps)

    def look(self, k: int, raw: NDArray[Any], image: ImageHeader, form: CodedForm | None) -> None:
        """Look at the words of one slice before they are made stored values.

        Parameters
        ----------
        k : int
            Slice.
        raw : (rows, cols) unsigned, in the machine's byte order
        image : ImageHeader
        form : CodedForm or None
            Of a compressed picture.
        """
        layout = layout_of(image)
        used = int(np.bitwise_or.reduce(raw, axis=None))
        if not _fits(raw, used, layout, image):
            self.unfit.append(k)
        rows = raw[:: max(1, len(raw) // SAMPLED_ROWS)]
        shift = layout.high_bit + 1 - layout.bits_stored
        codes = (rows >> shift).astype(np.int64) & ((1 << layout.bits_stored) - 1)
        padded = _padded(rows, layout)
        width = (used >> shift & ((1 << layout.bits_stored) - 1)).bit_length()
        before = self.wraps.far, self.wraps.near
        if width == layout.bits_stored:
            self.wraps.add(codes, padded, width, signed=layout.signed)
        elif width:
            self.narrow.add(codes, padded, width, signed=False)
        if form is not None and _another(form, used, layout):
            # The picture itself may bear out the header: then only the codestream's label is odd.
            far, near = self.wraps.far - before[0], self.wraps.near - before[1]
            if far >= near:
                self.coded.append(k)
        # Words that come without a form of their own, as in run lengths, have the header's alone.
        bare = image.syntax in NATIVE or form is None
        if bare and layout.bits_allocated > 8 and _order_is_wrong(rows, layout):
            self.swapped.append(k)
        if bare and image.rows != image.cols and _rows_are_wrong(raw, layout):
            self.sheared.append(k)

    def findings(self) -> list[Finding]:
        """What stops verdicts; empty where the words bear out the header."""
        found: list[Finding] = []
        if self.unfit:
            fields = {"count": len(self.unfit)}
            found.append(Finding("scan_words_unfit", "caution", fields, stops_verdicts=True))
        if self.wraps.contradict or self.narrow.contradict:
            found.append(Finding("scan_sign_contradicts", "caution", stops_verdicts=True))
        if self.swapped:
            fields = {"count": len(self.swapped)}
            found.append(Finding("scan_byte_order", "caution", fields, stops_verdicts=True))
        if self.sheared:
            fields = {"count": len(self.sheared)}
            found.append(Finding("scan_rows_contradict", "caution", fields, stops_verdicts=True))
        if self.coded:
            fields = {"count": len(self.coded)}
            found.append(Finding("scan_coded_otherwise", "caution", fields, stops_verdicts=True))
        return found


def _fits(raw: NDArray[Any], used: int, layout: Layout, image: ImageHeader) -> bool:
    """Whether unused bits hold nothing, or only the sign (PS3.5 section 8.1.1)."""
    bits, stored = layout.bits_allocated, layout.bits_stored
    shift = layout.high_bit + 1 - stored
    allowed = ((1 << stored) - 1) << shift
    overlay = image.value("OverlayBitPosition")
    if overlay.isdecimal() and 0 < int(overlay) < bits:
        allowed |= 1 << int(overlay)
    if stored == bits or used & ~allowed == 0:
        return True
    words = raw
    padding = padding_words(layout)
    if padding is not None:
        words = raw[(raw < padding[0]) | (raw > padding[1])]
        if words.size == 0 or int(np.bitwise_or.reduce(words)) & ~allowed == 0:
            return True
    if not layout.signed or shift:
        return False
    values = words.view(f"i{bits // 8}")
    half = 1 << (stored - 1)
    return -half <= int(values.min()) and int(values.max()) < half


def _padded(rows: NDArray[Any], layout: Layout) -> NDArray[np.bool_] | None:
    padding = padding_words(layout)
    return None if padding is None else (rows >= padding[0]) & (rows <= padding[1])


def _another(form: CodedForm, used: int, layout: Layout) -> bool:
    """Whether a codestream states another sign, and words use the bit that would hold it.

    Codestreams without a sign of their own, and narrower ones, are left to `Wraps`.
    """
    if form.signed is None or form.signed == layout.signed:
        return False
    return used.bit_length() >= min(form.precision, layout.bits_stored)


def _order_is_wrong(rows: NDArray[Any], layout: Layout) -> bool:
    stated = _roughness(stored_values(rows.copy(), layout))
    if stated < ROUGH:
        return False
    other = _roughness(stored_values(rows.byteswap(), layout))
    return 0 < other < CLEARLY * stated


def _roughness(values: NDArray[Any]) -> float:
    """Mean step between neighbours in rows, over the mean deviation; 0 where nothing changes."""
    wide = values.astype(np.float64)
    spread = float(np.abs(wide - wide.mean()).mean())
    return 0.0 if spread == 0 else float(np.abs(np.diff(wide, axis=1)).mean()) / spread


def _rows_are_wrong(raw: NDArray[Any], layout: Layout) -> bool:
    """Whether pictures are smooth from row to row only with rows and columns exchanged."""
    rows, cols = raw.shape
    flat = raw.reshape(-1)
    most = max(SAMPLED_WORDS, 4 * max(rows, cols))
    start = max(0, (len(flat) - most) // 2)
    values = stored_values(flat[start : start + most].copy(), layout).astype(np.float64)
    if len(values) <= 2 * max(rows, cols):
        return False

    def step(lag: int) -> float:
        return float(np.abs(values[lag:] - values[:-lag]).mean())

    return step(rows) < CLEARLY * step(cols)
