"""Kinds of lies, faults and oddities of an export, each a function that changes a scan's files.

Where a kind only says the truth in an unusual way it is `honest`: the volume must then be right,
with its verdicts. Where no header can tell, it is `untold`, and the table says so.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from tests.hostile import dicom_bytes as wire
from tests.hostile import exports, mutations
from tests.hostile.exports import File, Scan, Truth

Draw = random.Random
Nature = Literal["lie", "honest", "untold"]


@dataclass(frozen=True)
class Kind:
    """One kind: what it is called, how it is made, and what is asked of the reader."""

    name: str
    make: Callable[[Draw], Scan]
    nature: Nature
    pixels: bool
    dear: bool


KINDS: dict[str, Kind] = {}


def kind(
    name: str, *, nature: Nature = "lie", pixels: bool = False, dear: bool = False
) -> Callable[[Callable[[Draw], Scan]], Callable[[Draw], Scan]]:
    """Enter a kind.

    Parameters
    ----------
    name : str
    nature : {'lie', 'honest', 'untold'}
    pixels : bool
        The header contradicts the pixel data: a wrong volume must stop verdicts, not only tell.
    dear : bool
        Starts a decoding process: fewer of them are drawn.
    """

    def enter(make: Callable[[Draw], Scan]) -> Callable[[Draw], Scan]:
        KINDS[name] = Kind(name, make, nature, pixels, dear)
        return make

    return enter


def some(draw: Draw, scan: Scan) -> list[File]:
    """One file, two, or all: mostly one, the first as often as any other."""
    count = draw.choice((1, 1, 2, len(scan.files)))
    if count == 1 and draw.randrange(2):
        return [scan.files[0]]
    return draw.sample(scan.files, min(count, len(scan.files)))


def one_or_all(draw: Draw, scan: Scan) -> list[File]:
    """One file or all."""
    return list(scan.files) if draw.randrange(2) else [draw.choice(scan.files)]


def put(files: list[File], **values: Any) -> None:
    """Write header values; None takes one out."""
    for file in files:
        for name, value in values.items():
            if value is None:
                file.head.pop(name, None)
            else:
                file.head[name] = value


# ---- pixel data and what the header says of their size ----


@kind("pixel data shorter than stated", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    for file in some(draw, scan):
        data = exports.native(file.words, file.syntax)
        file.pixels = data[: -2 * draw.choice((1, 2, 13, 26, 200))]
    return scan


@kind("pixel data longer than stated", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    more = bytes(2 * draw.choice((1, 2, 20, 26, 300)))
    front = draw.randrange(2)
    for file in one_or_all(draw, scan):
        data = exports.native(file.words, file.syntax)
        file.pixels = more + data if front else data + more
    return scan


@kind("bytes cut out of or put into the pixel data", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    for file in some(draw, scan):
        data = bytearray(exports.native(file.words, file.syntax))
        at, count = draw.randrange(len(data)), 2 * draw.randrange(1, 30)
        if draw.randrange(2):
            del data[at : at + count]
        else:
            data[at:at] = draw.randbytes(count)
        file.pixels = bytes(data[: len(data) // 2 * 2])
    return scan


@kind("odd number of pixels and a padding byte", nature="honest")
def _(draw: Draw) -> Scan:
    truth = Truth(exports.grey_values(draw, (6, 15, 17)), exports.affine_of(draw))
    form = exports.Form(False, 8, 8, 15.0, -1000.0)
    truth = Truth(np.rint((truth.grey + 1000) / 15) * 15 - 1000, truth.mm_from_ijk)
    return Scan(exports.slices_of(truth, form), [truth])


@kind("fewer rows or columns stated than there are", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    name = draw.choice(("Rows", "Columns"))
    put(one_or_all(draw, scan), **{name: scan.files[0].head[name] - draw.randrange(1, 6)})
    return scan


@kind("more rows or columns stated than there are", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    name = draw.choice(("Rows", "Columns"))
    put(one_or_all(draw, scan), **{name: scan.files[0].head[name] + draw.randrange(1, 6)})
    return scan


@kind("rows and columns swapped", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    head = scan.files[0].head
    put(one_or_all(draw, scan), Rows=head["Columns"], Columns=head["Rows"])
    return scan


@kind("a number of frames in single slices", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    number = draw.choice(("0", "2", "8", "-1", "abc", "1.5", "99999999999", "1"))
    put(one_or_all(draw, scan), NumberOfFrames=number)
    return scan


# ---- words ----


@kind("bits allocated that are not so", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    bits = draw.choice((8, 32, 12, 1, 0, 64))
    files = one_or_all(draw, scan)
    put(files, BitsAllocated=bits)
    if draw.randrange(2):
        put(files, BitsStored=bits, HighBit=max(0, bits - 1))
    return scan


@kind("fewer bits stored than used", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    bits = draw.randrange(6, scan.notes["form"].stored)
    put(one_or_all(draw, scan), BitsStored=bits, HighBit=bits - 1)
    return scan


@kind("more bits stored than used", pixels=True)
def _(draw: Draw) -> Scan:
    form = draw.choice((exports.TWELVE, exports.SIGNED_TWELVE))
    scan = exports.scan(draw, form)
    if form.signed and draw.randrange(2):
        # Words without sign extension: whole at twelve bits, wrong at sixteen.
        for file in scan.files:
            file.words = file.words & np.uint16(0xFFF)
    bits = draw.randrange(13, 17)
    put(one_or_all(draw, scan), BitsStored=bits, HighBit=bits - 1)
    return scan


@kind("high bit that is not so", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw, draw.choice((exports.TWELVE, exports.SIGNED_TWELVE)))
    put(one_or_all(draw, scan), HighBit=draw.choice((9, 10, 12, 13, 15, 16, 40)))
    return scan


@kind("high bit above the stored bits, as old writers do", nature="honest")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw, exports.TWELVE)
    for file in scan.files:
        file.words = file.words << np.uint16(4)
    put(scan.files, HighBit=15)
    return scan


@kind("signed stated as unsigned or the other way round", pixels=True)
def _(draw: Draw) -> Scan:
    form = draw.choice((*exports.FORMS, exports.Form(False, 16, 16, 0.06, -1100.0)))
    scan = exports.scan(draw, form)
    put(some(draw, scan), PixelRepresentation=1 - int(form.signed))
    return scan


@kind("sign, bits or samples absent or impossible", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    files = some(draw, scan)
    name = draw.choice(("PixelRepresentation", "BitsStored", "HighBit", "SamplesPerPixel",
                        "BitsAllocated", "PhotometricInterpretation"))  # fmt: skip
    if name == "PhotometricInterpretation":
        put(files, **{name: draw.choice((None, "RGB", "PALETTE COLOR", "YBR_FULL", "?"))})
    else:
        put(files, **{name: draw.choice((None, 2, 65535, ("US", b""), ("US", b"\1")))})
    return scan


@kind("rubbish in the unused bits", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw, draw.choice((exports.TWELVE, exports.SIGNED_TWELVE)))
    rubbish = np.random.default_rng(draw.randrange(1 << 30))
    for file in one_or_all(draw, scan):
        high = rubbish.integers(0, 16, file.words.shape).astype(np.uint16) << np.uint16(12)
        file.words = file.words & np.uint16(0xFFF) | high
    return scan


@kind("twelve-bit words with and without sign extension", nature="honest")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw, exports.SIGNED_TWELVE)
    for file in scan.files:
        if draw.randrange(2):
            file.words = file.words & np.uint16(0xFFF)
    return scan


@kind("bytes of the words in the other order", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    syntax = draw.choice((wire.EXPLICIT, wire.IMPLICIT, wire.BIG))
    for file in scan.files:
        file.syntax = syntax
    for file in one_or_all(draw, scan):
        file.pixels = exports.native(file.words.byteswap(), file.syntax)
    return scan


@kind("small words with their bytes in the other order in one slice", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw, exports.Form(False, 16, 16, 15.0, -1000.0))
    for file in scan.files:
        file.words = np.clip(file.words, 0, 255)
    grey = np.stack([scan.notes["form"].grey(file.words) for file in scan.files])
    scan.truths = [Truth(grey, scan.truth.mm_from_ijk)]
    file = draw.choice(scan.files[1:-1])
    file.pixels = exports.native(file.words.byteswap(), file.syntax)
    return scan


@kind("every slice in another transfer syntax", nature="honest")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    for file in scan.files:
        file.syntax = draw.choice((wire.EXPLICIT, wire.IMPLICIT, wire.BIG, wire.DEFLATED))
    return scan


@kind("every slice with other words and a scale of its own", nature="honest")
def _(draw: Draw) -> Scan:
    truth = Truth(exports.grey_values(draw), exports.affine_of(draw))
    forms = [draw.choice((*exports.FORMS, exports.Form(True, 32, 32, 0.5, -7.0)))
             for _ in truth.grey]  # fmt: skip
    files = []
    for form, file in zip(forms, exports.slices_of(truth, exports.SIGNED), strict=True):
        file.words = form.words(file.words.view(np.int16).astype(float))
        put([file], **form.head())
        file.syntax = draw.choice((wire.EXPLICIT, wire.IMPLICIT, wire.BIG))
        files.append(file)
    return Scan(files, [truth])


@kind("every slice with a slope of its own", nature="honest")
def _(draw: Draw) -> Scan:
    truth = Truth(exports.grey_values(draw), exports.affine_of(draw))
    files = exports.slices_of(truth, exports.UNSIGNED)
    grey = []
    for file, plane in zip(files, truth.grey, strict=True):
        slope = (plane.max() + 1024) / draw.uniform(20_000, 60_000)
        form = exports.Form(False, 16, 16, float(f"{slope:.4g}"), -1024.0)
        file.words = form.words(plane)
        put([file], **form.head())
        grey.append(form.grey(file.words))
    return Scan(files, [Truth(np.stack(grey), truth.mm_from_ijk)])


@kind("grey scale of some slices is not so", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    files = draw.sample(scan.files, draw.choice((1, 1, 2, 3)))
    if draw.randrange(2):
        slope = float(files[0].head["RescaleSlope"]) * draw.choice((0.1, 0.5, 2, 3, 10, -1))
        put(files, RescaleSlope=f"{slope:g}")
    else:
        shift = draw.choice((-1, 1)) * draw.choice((700, 1000, 1024, 2048, 10_000))
        put(files, RescaleIntercept=f"{float(files[0].head['RescaleIntercept']) + shift:g}")
    return scan


UNREADABLE = ("NaN", "nan", "inf", "-inf", "1e999", "1,5", "0,3", "abc", "", " ", "--1", "1_0",
              "0x10", "1.0.0", "\\", "1\\2\\3\\4\\5\\6\\7")  # fmt: skip


@kind("grey scale unreadable, or absent in some", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw, draw.choice((exports.UNSIGNED, exports.FINE, exports.TWELVE)))
    name = draw.choice(("RescaleSlope", "RescaleIntercept"))
    files = some(draw, scan)
    whole = len(files) == len(scan.files)
    put(files, **{name: draw.choice(UNREADABLE if whole else (None, *UNREADABLE))})
    return scan


@kind("grey scale not stated by any")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw, draw.choice((exports.UNSIGNED, exports.FINE, exports.TWELVE)))
    put(scan.files, RescaleIntercept=None)
    if draw.randrange(2):
        put(scan.files, RescaleSlope=None)
    return scan


@kind("a grey scale by table in one slice")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    put([draw.choice(scan.files)], ModalityLUTSequence=[{"ModalityLUTType": "US"}])
    return scan


@kind("a black-and-white sign that changes no value", nature="honest")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    put(scan.files, PhotometricInterpretation="MONOCHROME1")
    return scan


# ---- compressed pictures ----

CODED = (wire.JPEG_LS, wire.JPEG_LOSSLESS, wire.JPEG_2000, wire.RLE)


def coded(draw: Draw, form: exports.Form | None = None) -> Scan:
    """A scan compressed without loss."""
    scan = exports.scan(draw, form)
    syntax = draw.choice(CODED)
    scan.files = [exports.compressed(file, syntax) for file in scan.files]
    return scan


@kind("compressed without loss, some slices not", nature="honest", dear=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    scan.files = [
        exports.compressed(file, draw.choice(CODED)) if draw.randrange(3) else file
        for file in scan.files
    ]
    return scan


@kind("compressed pictures of another size than stated", pixels=True, dear=True)
def _(draw: Draw) -> Scan:
    scan = coded(draw)
    files = one_or_all(draw, scan)
    head = scan.files[0].head
    match draw.randrange(3):
        case 0:
            put(files, Rows=head["Rows"] + draw.choice((-2, -1, 1, 2)))
        case 1:
            put(files, Columns=head["Columns"] + draw.choice((-2, -1, 1, 2)))
        case _:
            put(files, Rows=head["Columns"], Columns=head["Rows"])
    return scan


@kind("compressed words of another sign or width than stated", pixels=True, dear=True)
def _(draw: Draw) -> Scan:
    form = draw.choice(exports.FORMS)
    scan = coded(draw, form)
    files = one_or_all(draw, scan)
    if draw.randrange(2):
        put(files, PixelRepresentation=1 - int(form.signed))
    else:
        bits = draw.choice([bits for bits in (8, 10, 12, 14, 16) if bits != form.stored])
        put(files, BitsStored=bits, HighBit=bits - 1)
    return scan


@kind("narrow compressed words without their sign", pixels=True, dear=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw, exports.SIGNED_TWELVE)
    for file in scan.files:
        file.words = file.words & np.uint16(0xFFF)
    put(scan.files, PixelRepresentation=0)
    scan.files = [exports.compressed(f, draw.choice(CODED), bits=12) for f in scan.files]
    put(scan.files, PixelRepresentation=1, BitsStored=16, HighBit=15)
    return scan


@kind("compressed pictures under another transfer syntax", pixels=True, dear=True)
def _(draw: Draw) -> Scan:
    scan = coded(draw)
    others = (*CODED, wire.EXPLICIT, wire.IMPLICIT, wire.BIG, "1.2.840.10008.1.2.4.50", "1.2.3")
    for file in one_or_all(draw, scan):
        file.syntax = draw.choice([s for s in others if s != file.syntax])
    return scan


@kind("compressed pictures damaged or cut", pixels=True, dear=True)
def _(draw: Draw) -> Scan:
    scan = coded(draw)
    for file in some(draw, scan):
        table, data = file.pixels
        if draw.randrange(2):
            data = data[: draw.randrange(len(data))]
        else:
            data = mutations.damaged(data[:60], draw) + data[60:]
        file.pixels = [table, data]
    return scan


@kind("a table of frames that is not so", pixels=True, dear=True)
def _(draw: Draw) -> Scan:
    scan = exports.multi_frame(draw)
    file = scan.files[0]
    parts = []
    for plane in file.words:
        one = replace(file, words=plane)
        data = exports.compressed(one, wire.JPEG_LS).pixels[1]
        data += bytes(len(data) % 2)
        half = len(data) // 4 * 2
        parts.append([data[:half], data[half:]])
    offsets, at = [], 0
    for first, second in parts:
        offsets.append(at)
        at += 16 + len(first) + len(second)
    match draw.randrange(5):
        case 0:
            a, b = draw.sample(range(len(offsets)), 2)
            offsets[a], offsets[b] = offsets[b], offsets[a]
        case 1:
            offsets[draw.randrange(len(offsets))] += draw.choice((-8, -2, 2, 8, 4096))
        case 2:
            offsets = offsets[:-1]
        case 3:
            offsets[draw.randrange(1, len(offsets))] = 0
        case _:
            offsets = []
    table = np.array(offsets, "<u4").tobytes()
    file.pixels = [table, *(piece for pair in parts for piece in pair)]
    file.syntax = wire.JPEG_LS
    return scan


# ---- numbers of the geometry ----


@kind("pixel spacing unreadable or absent")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    text = draw.choice((None, "0,3\\0,3", "NaN\\NaN", "inf\\0.3", "0.3", "", "a\\b", "0.3\\",
                        "-0.3\\-0.3", "0\\0", "0.3\\0.3\\0.3"))  # fmt: skip
    put(some(draw, scan), PixelSpacing=text)
    return scan


@kind("pixel spacing out of 0.02 to 2 mm")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    value = draw.choice((1e-6, 0.0003, 0.002, 0.019, 2.5, 3, 30, 250, 300, 1e6))
    text = f"{value}\\{value}" if draw.randrange(2) else f"{value}\\0.3"
    put(one_or_all(draw, scan), PixelSpacing=text)
    return scan


@kind("position unreadable or absent")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    text = draw.choice((None, "NaN\\0\\0", "1\\2", "1,5\\2\\3", "inf\\0\\0", "", "1e9\\0\\0",
                        "a\\b\\c", "\\\\", "1e400\\0\\0"))  # fmt: skip
    put(some(draw, scan), ImagePositionPatient=text)
    return scan


@kind("orientation unreadable, absent or no unit vectors")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    text = draw.choice((None, "1\\0\\0\\0\\1", "0\\0\\0\\0\\0\\0", "1\\0\\0\\1\\0\\0", "",
                        "NaN\\0\\0\\0\\1\\0", "1,0\\0\\0\\0\\1\\0", "0.9\\0\\0\\0\\0.9\\0",
                        "2\\0\\0\\0\\2\\0", "1\\0\\0\\0.2\\1\\0"))  # fmt: skip
    put(some(draw, scan), ImageOrientationPatient=text)
    return scan


@kind("step, thickness, location or number unreadable")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    name = draw.choice(("SliceThickness", "SpacingBetweenSlices", "GantryDetectorTilt",
                        "SliceLocation", "InstanceNumber"))  # fmt: skip
    put(some(draw, scan), **{name: draw.choice(UNREADABLE)})
    return scan


@kind("pixel spacing of one slice is another")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    row, col = (float(v) for v in scan.files[0].head["PixelSpacing"].split("\\"))
    odd = draw.choice((1.0002, 1.002, 1.003, 1.01, 1.1, 2.0))
    text = f"{row * odd:.8g}\\{col * draw.choice((1, odd)):.8g}"
    which = scan.files[0] if draw.randrange(2) else draw.choice(scan.files)
    put([which], PixelSpacing=text)
    return scan


@kind("orientation of one slice is another")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    cosines = np.array(scan.files[0].head["ImageOrientationPatient"].split("\\"), float)
    angle = draw.choice((2e-4, 5e-4, 9e-4, 2e-3, 1e-2, 0.1, 1.5))
    row, col = cosines[:3], cosines[3:]
    turned = np.cos(angle) * row + np.sin(angle) * col, np.cos(angle) * col - np.sin(angle) * row
    text = "\\".join(f"{v:.8g}" for v in np.concatenate(turned))
    which = scan.files[0] if draw.randrange(2) else draw.choice(scan.files)
    put([which], ImageOrientationPatient=text)
    return scan


@kind("directions and spacing rounded slice by slice", nature="honest")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    for file in scan.files:
        values = [float(v) for v in file.head["ImageOrientationPatient"].split("\\")]
        digits = draw.choice((5, 6, 7, 8))
        put([file], ImageOrientationPatient="\\".join(f"{v:.{digits}f}" for v in values))
    return scan


@kind("two slices swapped by their positions", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    first, second = draw.sample(scan.files, 2)
    names = ["ImagePositionPatient"] + (["SliceLocation"] if draw.randrange(2) else [])
    for name in names:
        first.head[name], second.head[name] = second.head[name], first.head[name]
    return scan


@kind("two slices swapped by their positions, none numbered", pixels=True)
def _(draw: Draw) -> Scan:
    # At an end there is one neighbour only, which cannot always tell.
    scan = exports.scan(draw)
    first, second = draw.sample(scan.files[1:-1], 2)
    name = "ImagePositionPatient"
    first.head[name], second.head[name] = second.head[name], first.head[name]
    put(scan.files, InstanceNumber=draw.choice((None, "", "1")), SliceLocation=None)
    return scan


@kind("numbers of the slices in another order, places right", nature="honest")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    numbers = [file.head["InstanceNumber"] for file in scan.files]
    if draw.randrange(2):
        numbers.reverse()
    else:
        numbers = [str(int(number) * 3 + 40) for number in numbers]
    for file, number in zip(scan.files, numbers, strict=True):
        put([file], InstanceNumber=number)
    return scan


@kind("positions stretched, step or location stated as it is")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    affine = scan.truth.mm_from_ijk.copy()
    affine[:3, 2] *= draw.choice((0.5, 0.8, 0.9, 1.1, 1.25, 2.0))
    for k, file in enumerate(scan.files):
        put([file], ImagePositionPatient=exports.place(affine, k))
    gone = draw.choice(("SliceLocation", "SpacingBetweenSlices", "InstanceNumber"))
    put(scan.files, **{gone: None})
    return scan


@kind("one position is another")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    file = draw.choice(scan.files[1:-1])
    where = np.array(file.head["ImagePositionPatient"].split("\\"), float)
    where += np.array([draw.gauss(0, 1) for _ in range(3)]) * draw.choice((0.3, 1.0, 5.0))
    put([file], ImagePositionPatient="\\".join(f"{v:.8g}" for v in where))
    return scan


@kind("a slice within the stack left out")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    del scan.files[draw.randrange(1, len(scan.files) - 1)]
    return scan


@kind("tilted gantry, step stated along the table", nature="honest")
def _(draw: Draw) -> Scan:
    truth = Truth(exports.grey_values(draw), exports.affine_of(draw))
    affine = truth.mm_from_ijk
    normal = np.cross(affine[:3, 0], affine[:3, 1])
    normal /= np.linalg.norm(normal)
    along = exports.normal_step(affine)
    lean = np.tan(np.radians(draw.choice((-1, 1)) * draw.uniform(5, 25)))
    col = affine[:3, 1] / np.linalg.norm(affine[:3, 1])
    affine[:3, 2] = along * (normal + lean * col)
    files = exports.slices_of(truth, draw.choice(exports.FORMS))
    table = float(np.linalg.norm(affine[:3, 2]))
    for k, file in enumerate(files):
        put([file], SpacingBetweenSlices=f"{table:.6g}", SliceLocation=f"{k * table:.6g}")
        if draw.randrange(2):
            put([file], GantryDetectorTilt=f"{np.degrees(np.arctan(lean)):.4g}")
    return Scan(files, [truth])


@kind("files in any order, the stack upside down", nature="honest")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    scan.files.reverse()
    for number, file in enumerate(scan.files):
        put([file], InstanceNumber=str(number + 1))
    return scan


@kind("SliceLocation against the positions")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    for k, file in enumerate(scan.files):
        put([file], SliceLocation=f"{k * exports.normal_step(scan.truth.mm_from_ijk) * 1.3:.6g}")
    affine = scan.truth.mm_from_ijk.copy()
    if draw.randrange(2):
        affine[:3, 2] *= 1.3
        scan.truths = [Truth(scan.truth.grey, affine)]
    return scan


# ---- padding ----


@kind("padding value around the field", nature="honest")
def _(draw: Draw) -> Scan:
    form = draw.choice((exports.SIGNED, exports.UNSIGNED, exports.FINE))
    scan = exports.scan(draw, form)
    word = 63_000 if not form.signed else 65_536 - 2000
    grey = scan.truth.grey.copy()
    for k, file in enumerate(scan.files):
        file.words[:3], file.words[-2:] = word, word
        grey[k, :3] = grey[k, -2:] = np.nan
    put(scan.files, PixelPaddingValue=word)
    scan.truths = [Truth(grey, scan.truth.mm_from_ijk)]
    return scan


@kind("padding that covers tissue")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw, exports.UNSIGNED)
    low = int(np.percentile(scan.files[0].words, draw.choice((0, 20))))
    high = int(np.percentile(scan.files[0].words, draw.choice((90, 99))))
    put(one_or_all(draw, scan), PixelPaddingValue=low, PixelPaddingRangeLimit=high)
    return scan


# ---- one acquisition, one volume ----


def _second(draw: Draw, scan: Scan, files: list[File]) -> dict[str, Any]:
    """What sets a second acquisition apart."""
    return draw.choice((
        {"AcquisitionNumber": "2"}, {"ConvolutionKernel": "K7"}, {"KVP": "120"},
        {"ImageType": "DERIVED\\SECONDARY\\AXIAL"}, {"AcquisitionDate": "20240611"},
        {"SeriesDate": "20240611"}, {"StudyDate": "20240611"},
        {"SeriesInstanceUID": exports.ROOT + "77"}, {"FrameOfReferenceUID": exports.ROOT + "78"},
        {"PatientID": "P2"}, {"TemporalPositionIndex": ("UL", b"\2\0\0\0")},
        {"ContentDate": "20240611"}, {"AcquisitionNumber": "2", "KVP": "120"},
    ))  # fmt: skip


def _two(draw: Draw) -> tuple[Scan, Scan]:
    """Two acquisitions of one place that show something else."""
    first = exports.scan(draw, exports.UNSIGNED)
    truth = Truth(exports.grey_values(draw), first.truth.mm_from_ijk)
    second = Scan(exports.slices_of(truth, exports.UNSIGNED, uid=300), [truth])
    apart = _second(draw, first, second.files)
    if "ContentDate" in apart:
        put(first.files, ContentDate="20240305")
    put(second.files, **apart)
    return first, second


@kind("two acquisitions, every other slice")
def _(draw: Draw) -> Scan:
    first, second = _two(draw)
    odd = draw.randrange(2)
    files = [f if k % 2 == odd else g
             for k, (f, g) in enumerate(zip(first.files, second.files, strict=True))]  # fmt: skip
    return Scan(files, first.truths + second.truths)


@kind("two acquisitions, one after the other")
def _(draw: Draw) -> Scan:
    first, second = _two(draw)
    at = draw.randrange(1, len(first.files))
    return Scan(first.files[:at] + second.files[at:], first.truths + second.truths)


@kind("two whole acquisitions of one place")
def _(draw: Draw) -> Scan:
    first, second = _two(draw)
    return Scan(first.files + second.files, first.truths + second.truths)


@kind("the same slices twice", nature="honest")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    scan.files += [replace(file, head=dict(file.head)) for file in scan.files]
    return scan


@kind("one object's number on different slices of one place", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    other = exports.slices_of(
        Truth(exports.grey_values(draw), scan.truth.mm_from_ijk), scan.notes["form"]
    )
    syntax = draw.choice((wire.EXPLICIT, wire.IMPLICIT, wire.BIG))
    for file in draw.sample(other, draw.randrange(1, 4)):
        file.syntax = syntax
        scan.files.append(file)
    return scan


# ---- multi-frame objects ----


@kind("one object of many frames", nature="honest")
def _(draw: Draw) -> Scan:
    scan = exports.multi_frame(draw)
    scan.files[0].syntax = draw.choice((wire.EXPLICIT, wire.IMPLICIT, wire.BIG, wire.DEFLATED))
    return scan


@kind("number of frames against the frames' groups", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.multi_frame(draw)
    head = scan.files[0].head
    groups = head["PerFrameFunctionalGroupsSequence"]
    match draw.randrange(4):
        case 0:
            put(scan.files, NumberOfFrames=str(len(groups) + draw.choice((-3, -1, 1, 2))))
        case 1:
            put(scan.files, NumberOfFrames=draw.choice((None, "", "abc", "8.5", "0", "-8")))
        case 2:
            count = len(groups) - draw.choice((1, 2))
            put(scan.files, NumberOfFrames=str(count))
            head["PerFrameFunctionalGroupsSequence"] = groups[:count]
        case _:
            doubled = [*groups, groups[-1]]
            put(scan.files, NumberOfFrames=str(len(doubled)))
            head["PerFrameFunctionalGroupsSequence"] = doubled
    return scan


@kind("a frame's place, direction, size or scale is another", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.multi_frame(draw)
    head = scan.files[0].head
    group = draw.choice(head["PerFrameFunctionalGroupsSequence"])
    shared = head["SharedFunctionalGroupsSequence"][0]
    match draw.randrange(6):
        case 0:
            group["PixelMeasuresSequence"] = [{"PixelSpacing": draw.choice((
                "0.31\\0.31", "0,3\\0,3", "NaN\\NaN", "30\\30"))}]  # fmt: skip
        case 1:
            group["PlaneOrientationSequence"] = [{"ImageOrientationPatient": "0\\1\\0\\-1\\0\\0"}]
        case 2:
            del group["PlanePositionSequence"]
        case 3:
            scale = group["PixelValueTransformationSequence"][0]
            scale["RescaleSlope"] = draw.choice(("2.5", "abc", "0", "NaN", "1,5"))
        case 4:
            if head["BitsStored"] == 16 and not head["PixelRepresentation"]:
                del group["PixelValueTransformationSequence"]
            else:
                del group["PixelValueTransformationSequence"][0]["RescaleSlope"]
        case _:
            del shared[draw.choice(("PixelMeasuresSequence", "PlaneOrientationSequence"))]
    return scan


def _concatenation(draw: Draw, *, parts: int = 2) -> Scan:
    form = draw.choice((exports.SIGNED, exports.UNSIGNED))
    truth = Truth(exports.grey_values(draw, (9, 20, 26)), exports.affine_of(draw))
    files = []
    share = len(truth.grey) // parts
    for part in range(parts):
        piece = truth.part(slice(part * share, (part + 1) * share))
        file = exports.frames_of(piece, form, uid=f"{exports.ROOT}6.{part + 1}")
        put([file], ConcatenationUID=exports.ROOT + "7")
        put([file], InConcatenationNumber=part + 1, InConcatenationTotalNumber=parts)
        put([file], ConcatenationFrameOffsetNumber=part * share)
        files.append(file)
    whole = truth.part(slice(0, share * parts))
    return Scan(files, [whole])


@kind("a scan in several parts", nature="honest")
def _(draw: Draw) -> Scan:
    return _concatenation(draw, parts=draw.choice((2, 3)))


@kind("a part of a scan in several parts is missing")
def _(draw: Draw) -> Scan:
    scan = _concatenation(draw, parts=3)
    del scan.files[draw.randrange(3)]
    if draw.randrange(2):
        # The number of parts is optional (PS3.3 table C.7.6.16-1); the last may then be anyone's.
        put(scan.files, InConcatenationTotalNumber=None)
        if scan.files[-1].head["InConcatenationNumber"] == 2:
            put(scan.files, InConcatenationTotalNumber=3)
    return scan


@kind("frames of two stacks in one object")
def _(draw: Draw) -> Scan:
    scan = exports.multi_frame(draw)
    other = Truth(exports.grey_values(draw), scan.truth.mm_from_ijk)
    file, form = scan.files[0], scan.notes["form"]
    groups = file.head["PerFrameFunctionalGroupsSequence"]
    count = len(groups)
    words = form.words(other.grey[::-1])
    twice = draw.randrange(2)
    if twice:
        more = [dict(group) for group in groups]
        for group in more:
            group["FrameContentSequence"] = [{"StackID": "2"}]
        file.words = np.concatenate([file.words, words])
        groups += more
        put([file], NumberOfFrames=str(2 * count))
    else:
        for k in range(draw.randrange(2), count, 2):
            groups[k]["FrameContentSequence"] = [{"StackID": "2"}]
            file.words[k] = words[k]
    scan.truths.append(other)
    return scan


@kind("frames of two acquisitions in one object")
def _(draw: Draw) -> Scan:
    scan = exports.multi_frame(draw, exports.UNSIGNED)
    other = Truth(exports.grey_values(draw), scan.truth.mm_from_ijk)
    file = scan.files[0]
    groups = file.head["PerFrameFunctionalGroupsSequence"]
    words = exports.UNSIGNED.words(other.grey[::-1])
    group, name, first, second = draw.choice((
        ("FrameContentSequence", "FrameAcquisitionNumber", 1, 2),
        ("FrameContentSequence", "TemporalPositionIndex", 1, 2),
        ("CTReconstructionSequence", "ConvolutionKernel", "K1", "K7"),
    ))  # fmt: skip
    at = draw.randrange(1, len(groups))
    every_other = draw.randrange(2)
    for k, frame in enumerate(groups):
        its_own = k % 2 if every_other else k >= at
        frame.setdefault(group, [{}])[0][name] = second if its_own else first
        if its_own:
            file.words[k] = words[k]
    scan.truths.append(other)
    return scan


# ---- damage without a plan ----


@kind("bytes of headers damaged", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    for file in some(draw, scan):
        data = file.packed()
        size = file.words.nbytes
        file.raw = mutations.damaged(data[:-size], draw) + data[-size:]
    return scan


@kind("bytes of a multi-frame header damaged", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.multi_frame(draw)
    file = scan.files[0]
    data = file.packed()
    file.raw = mutations.damaged(data[: -file.words.nbytes], draw) + data[-file.words.nbytes :]
    return scan


@kind("one header value exchanged with another's", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    file = draw.choice(scan.files)
    name = draw.choice([n for n, v in file.head.items() if isinstance(v, str | int)])
    same = [v for n, v in file.head.items() if isinstance(v, type(file.head[name])) and n != name]
    put([file], **{name: draw.choice(same)})
    return scan


@kind("one header value absent in one slice", pixels=True)
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    file = draw.choice(scan.files)
    put([file], **{draw.choice(list(file.head)): None})
    return scan


@kind("files cut off or empty")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    for file in some(draw, scan):
        data = file.packed()
        file.raw = data[: draw.choice((0, 100, 132, 200, draw.randrange(len(data))))]
    return scan


# ---- what no header can tell ----


@kind("bits of pixels flipped within the stated range", nature="untold")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw, exports.SIGNED)
    for file in some(draw, scan):
        flat = file.words.reshape(-1)
        for _ in range(draw.randrange(1, 6)):
            flat[draw.randrange(len(flat))] ^= 1 << draw.randrange(11)
    return scan


@kind("slices left out at the ends", nature="untold")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    count = draw.randrange(1, 4)
    scan.files = scan.files[count:] if draw.randrange(2) else scan.files[:-count]
    return scan


@kind("pixel spacing of all slices wrong alike", nature="untold")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    put(scan.files, PixelSpacing="0.27\\0.27")
    return scan


@kind("grey scale of all slices wrong alike", nature="untold")
def _(draw: Draw) -> Scan:
    scan = exports.scan(draw)
    put(scan.files, RescaleIntercept="-1234")
    return scan
