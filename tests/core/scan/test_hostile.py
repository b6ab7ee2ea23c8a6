"""Damaged and hostile files: a refusal or a volume, never another exception."""

from __future__ import annotations

import random

import make_dicom as make
import pytest

from core.errors import ScanError
from core.scan import open_scan

SYNTAXES = {
    "raw": make.ExplicitVRLittleEndian,
    "implicit": make.ImplicitVRLittleEndian,
    "deflated": make.DeflatedExplicitVRLittleEndian,
    "jpeg-ls": make.JPEGLSLossless,
    "lossless": make.JPEGLosslessSV1,
    "jpeg2000": make.JPEG2000Lossless,
    "rle": make.RLELossless,
}
ROUNDS = {"raw": 250, "implicit": 150, "deflated": 150}
"""Compressed slices start two children a round, so there are few of those."""


def mutated(data, draw):
    out = bytearray(data)
    for _ in range(draw.choice([1, 1, 3, 20])):
        at = draw.randrange(len(out))
        match draw.randrange(8):
            case 0 | 1 | 2 | 3:
                out[at] = draw.randrange(256)
            case 4:
                out[at] = draw.choice([0, 127, 128, 255])
            case 5:
                del out[at : at + draw.randrange(1, 40)]
            case 6:
                out[at:at] = draw.randbytes(draw.randrange(1, 30))
            case 7:
                del out[at + 1 :]
        if not out:
            return bytes(data[:1])
    return bytes(out)


@pytest.mark.parametrize("kind", [*SYNTAXES, "multi-frame"])
@pytest.mark.filterwarnings("ignore")
def test_mutated_files_are_refused_or_read(tmp_path, kind):
    draw = random.Random(kind)
    values = make.voxels((6, 16, 16))
    if kind == "multi-frame":
        make.write(make.multi_frame(values), tmp_path / "one", make.JPEGLSLossless)
    else:
        make.write_series(tmp_path, make.series(values), syntax=SYNTAXES[kind])
    files = {path: path.read_bytes() for path in sorted(tmp_path.iterdir())}
    opened = 0
    for _ in range(ROUNDS.get(kind, 8)):
        hit = draw.sample(list(files), draw.choice([1, 1, 2, len(files)]) % len(files) or 1)
        for path, data in files.items():
            path.write_bytes(mutated(data, draw) if path in hit else data)
        try:
            volume = open_scan(tmp_path)
        except ScanError as refusal:
            assert str(refusal)  # noqa: PT017  (both outcomes are right; neither may be mute)
        else:
            assert volume.voxels.nbytes <= 4 * values.nbytes
            opened += 1
    assert opened or kind == "multi-frame"
