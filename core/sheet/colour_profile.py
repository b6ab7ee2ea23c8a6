"""The sRGB colour profile that a lasting PDF names as what its colours mean.

An ICC profile of version 2 (ICC.1:2001-04) for a display: primaries and tone curve of IEC
61966-2-1, primaries adapted to D50 as the profile format asks. Made here, so that the bytes are
the same on every machine and no profile of a machine is copied.
"""

from __future__ import annotations

import struct
from functools import lru_cache

import numpy as np

NAME = "sRGB IEC61966-2.1"
_WHITE = (0.9642, 1.0, 0.8249)
_PRIMARIES = {
    b"rXYZ": (0.43607, 0.22249, 0.01392),
    b"gXYZ": (0.38515, 0.71687, 0.09708),
    b"bXYZ": (0.14307, 0.06061, 0.71410),
}
_STEPS = 1024


@lru_cache(maxsize=1)
def srgb_profile() -> bytes:
    """The profile's bytes."""
    curve = _curve()
    tags = {
        b"desc": _description(NAME),
        b"cprt": b"text" + bytes(4) + b"No copyright, use freely\0",
        b"wtpt": _xyz(_WHITE),
        **{name: _xyz(value) for name, value in _PRIMARIES.items()},
        b"rTRC": curve,
        b"gTRC": curve,
        b"bTRC": curve,
    }
    table, body = b"", b""
    at = 128 + 4 + 12 * len(tags)
    places: dict[bytes, int] = {}
    for name, data in tags.items():
        if data not in places:  # the three curves are one
            places[data] = at + len(body)
            body += data + bytes(-len(data) % 4)
        table += name + struct.pack(">II", places[data], len(data))
    size = at + len(body)
    header = struct.pack(
        ">I4sI4s4s4s6H4s4sI4s4sQI3i4s44x",
        size, bytes(4), 0x02100000, b"mntr", b"RGB ", b"XYZ ", 2001, 4, 1, 0, 0, 0, b"acsp",
        bytes(4), 0, bytes(4), bytes(4), 0, 0, *(_fixed(v) for v in _WHITE), bytes(4),
    )  # fmt: skip
    return header + struct.pack(">I", len(tags)) + table + body


def _fixed(value: float) -> int:
    return round(value * 65536)


def _xyz(value: tuple[float, float, float]) -> bytes:
    return b"XYZ " + bytes(4) + struct.pack(">3i", *(_fixed(v) for v in value))


def _curve() -> bytes:
    """From stored value to light: IEC 61966-2-1."""
    x = np.linspace(0.0, 1.0, _STEPS)
    y = np.where(x <= 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4)
    values = np.round(y * 65535).astype(">u2")
    return b"curv" + bytes(4) + struct.pack(">I", _STEPS) + values.tobytes()


def _description(words: str) -> bytes:
    text = words.encode("ascii") + b"\0"
    return b"desc" + bytes(4) + struct.pack(">I", len(text)) + text + bytes(4 + 4 + 2 + 1 + 67)
