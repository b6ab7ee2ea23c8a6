"""Damage to files, the same on every machine: each kind of it is drawn from a seeded generator."""

from __future__ import annotations

import copy
import json
import random
from typing import Any

EDGES = (0, 1, 127, 128, 255)
LENGTHS = (0, 1, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFE, 0xFFFFFFFF)


def damaged(data: bytes, draw: random.Random) -> bytes:
    """A file with one to twenty places changed, cut out, put in, swapped or cut off."""
    out = bytearray(data)
    for _ in range(draw.choice((1, 1, 1, 3, 20))):
        if not out:
            break
        at = draw.randrange(len(out))
        match draw.randrange(10):
            case 0 | 1 | 2 | 3 | 4:
                out[at] = draw.choice(
                    (draw.randrange(256), out[at] ^ 1 << draw.randrange(8), *EDGES)
                )
            case 5:
                del out[at : at + draw.randrange(1, 40)]
            case 6:
                out[at:at] = draw.randbytes(draw.randrange(1, 30))
            case 7:
                out[at : at + 4] = draw.choice(LENGTHS).to_bytes(4, "little")
            case 8:
                other = draw.randrange(len(out))
                out[at : at + 16], out[other : other + 16] = (
                    out[other : other + 16], out[at : at + 16],
                )  # fmt: skip
            case 9:
                del out[at + 1 :]
    return bytes(out)


STRANGE: tuple[Any, ...] = (
    None, True, False, 0, -1, 1, 2**53, -(2**53), 1e-300, 1e300, -1e300, 1e12, 0.1, "", "x", "../x",
    "yes", "\x00", "36", "99", [], {}, [[]], [0, 0, 0], [1e300, 0, 0], [0, 0], [0, 0, 0, 0],
    [[0, 0, 0]] * 3, [[1e8, 0, 0], [0, 1e8, 0]], [None], "a" * 5000, [[0, 0, 0]] * 2000,
)  # fmt: skip
"""What somebody's script may leave in place of a value."""


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Paths to every value inside a document."""
    found = [path] if path else []
    if isinstance(value, dict):
        for key in value:
            found += places(value[key], (*path, key))
    elif isinstance(value, list):
        for index in range(len(value)):
            found += places(value[index], (*path, index))
    return found


def changed(document: dict[str, Any], draw: random.Random) -> dict[str, Any]:
    """A document in which one to three values were replaced, dropped, doubled or stretched."""
    out = copy.deepcopy(document)
    for _ in range(draw.choice((1, 1, 1, 2, 3))):
        path = draw.choice(places(out))
        owner = out
        for step in path[:-1]:
            owner = owner[step]
        last = path[-1]
        old = owner[last]
        match draw.randrange(6):
            case 0 | 1:
                owner[last] = draw.choice(STRANGE)
            case 2:
                del owner[last]
            case 3 if isinstance(owner, list):
                owner.insert(last, copy.deepcopy(old))
            case 3:
                owner[f"{last}s"] = owner.pop(last)
            case 4 if isinstance(old, int | float) and not isinstance(old, bool):
                owner[last] = old * draw.choice((-1, 0, 1e-9, 1e3, 1e9, 1e200))
            case 5 if isinstance(old, int | float) and not isinstance(old, bool):
                owner[last] = old + draw.uniform(-30, 30)
            case _:
                owner[last] = draw.choice(STRANGE)
        if not places(out):
            return dict(document)
    return out


def damaged_plan(document: dict[str, Any], draw: random.Random) -> bytes:
    """A plan file: in three of four the values are changed, else its bytes."""
    if draw.randrange(4):
        return json.dumps(changed(document, draw), indent=1).encode()
    return damaged(json.dumps(document, indent=1).encode(), draw)
