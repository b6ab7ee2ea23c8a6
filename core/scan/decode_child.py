"""The child process that decodes compressed pictures, away from the program.

Started as a script. It imports numpy and one codec library and nothing of this program: a
decoder that dies on hostile bytes takes this process with it and nothing else. Jobs come on
standard input, pictures leave on standard output; see `core.scan.decode` for the other end.
"""

from __future__ import annotations

import struct
import sys
from typing import Any

JOB = struct.Struct("<8sHHHI")
"""Codec name, rows, columns, bytes a sample, length of the compressed bytes that follow."""
REPLY = struct.Struct("<B")
"""1: the picture follows, rows × columns samples, little endian; 0: it could not be decoded."""
READY = b"R"
BASE_MEMORY = 1536 << 20
"""Address space of the child: the libraries take about a third of it."""


def main() -> int:
    """Decode until standard input ends."""
    import imagecodecs
    import numpy as np

    _limit_memory()
    inlet, outlet = sys.stdin.buffer, sys.stdout.buffer
    outlet.write(READY)
    outlet.flush()
    while True:
        head = inlet.read(JOB.size)
        if len(head) < JOB.size:
            return 0
        codec, rows, cols, width, length = JOB.unpack(head)
        packed = inlet.read(length)
        try:
            name = codec.rstrip(b"\0").decode()
            picture = _decode(imagecodecs, np, name, packed, (rows, cols, width))
        except Exception:  # noqa: BLE001  (any fault of a codec costs one picture, no more)
            outlet.write(REPLY.pack(0))
        else:
            outlet.write(REPLY.pack(1))
            outlet.write(picture)
        outlet.flush()


def _decode(
    codecs: Any, np: Any, name: str, packed: bytes, shape: tuple[int, int, int]
) -> memoryview:
    """Decoded samples as little-endian bytes; raises when the picture has another shape."""
    rows, cols, width = shape
    dtype = np.dtype(f"<u{width}")
    if name == "rle":
        picture = np.frombuffer(
            codecs.dicomrle_decode(packed, dtype, out=rows * cols * width), dtype
        ).reshape(rows, cols)
    else:
        decoders = {
            "jpeg": ("jpeg8_decode",),
            # Both refuse a stream that ends early; the usual JPEG library fills the rest silently.
            "lossless": ("ljpeg_decode", "jpegsof3_decode"),
            "jpegls": ("jpegls_decode",),
            "jpeg2k": ("jpeg2k_decode",),
        }[name]
        picture = _first_that_works(codecs, decoders, packed)
    if picture.shape != (rows, cols) or picture.dtype.kind not in "iu":
        raise ValueError(picture.shape)
    if picture.dtype.itemsize != width:
        signed = "i" if picture.dtype.kind == "i" else "u"
        if picture.dtype.itemsize > width:
            raise ValueError(picture.dtype)
        picture = picture.astype(f"<{signed}{width}")
    return memoryview(np.ascontiguousarray(picture.view(dtype))).cast("B")


def _first_that_works(codecs: Any, names: tuple[str, ...], packed: bytes) -> Any:
    for name in names[:-1]:
        try:
            return getattr(codecs, name)(packed)
        except Exception:  # noqa: BLE001, S112  (the next decoder may know this flavour)
            continue
    return getattr(codecs, names[-1])(packed)


def _limit_memory() -> None:
    try:
        import resource
    except ImportError:  # no such limit on Windows
        return
    try:
        resource.setrlimit(resource.RLIMIT_AS, (BASE_MEMORY, BASE_MEMORY))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    except (OSError, ValueError):
        return


if __name__ == "__main__":
    raise SystemExit(main())
