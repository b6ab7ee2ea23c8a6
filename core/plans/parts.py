"""Parts of a plan document, each described once: how it is read, written, and told in a schema.

A part is two-way: `read` makes a value of JSON and refuses with the place, `write` makes JSON of
the value over what stood in the file, `schema` is its JSON Schema (draft 2020-12).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from core.geometry import Array, points, unit, vector
from core.plans.plan_reader import FARTHEST_MM, LONGEST_MM, At

Schema: TypeAlias = dict[str, Any]
Values: TypeAlias = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Part:
    """One kind of value.

    Parameters
    ----------
    read : function of the JSON value with its place
    write : function of the value and of what stood in the file, or None
    schema : mapping
    """

    read: Callable[[At], Any]
    write: Callable[[Any, Any], Any]
    schema: Schema


@dataclass(frozen=True, slots=True)
class Key:
    """A key of an object and the attribute that it fills.

    Parameters
    ----------
    name : str
        In the file.
    part : Part
    needed : bool
        True: a file without it is refused.
    empty : object
        The attribute's value where the file has none.
    attr : str
        Name of the attribute, where it is another one.
    drop : bool
        An empty value takes the key out of the file.
    spread : bool
        The part reads a mapping of several attributes, and writes the whole object.
    """

    name: str
    part: Part
    needed: bool = False
    empty: Any = None
    attr: str = ""
    drop: bool = False
    spread: bool = False

    def read(self, at: At) -> Values:
        """Attributes that it fills."""
        if self.needed:
            found = self.part.read(at.get(self.name))
        else:
            found = at.maybe(self.name, self.part.read)
        if self.spread:
            return dict(found or {})
        return {self.attr or self.name: self.empty if found is None else found}

    def write(self, value: Any, before: Mapping[str, Any]) -> Any:
        """JSON of its attributes of an object."""
        part = value if self.spread else getattr(value, self.attr or self.name)
        if part is None or (self.drop and not part):
            return None
        return self.part.write(part, before.get(self.name))


def keys_schema(keys: tuple[Key, ...], **constants: str) -> Schema:
    """Schema of an object with keys; others may stand beside them."""
    told: Schema = {name: {"const": value} for name, value in constants.items()}
    for key in keys:
        free = {"anyOf": [key.part.schema, {"type": "null"}]}
        told[key.name] = key.part.schema if key.needed else free
    needed = [*constants, *(key.name for key in keys if key.needed)]
    return {"type": "object", "properties": told, "required": needed}


def record(
    make: Callable[..., Any],
    *keys: Key,
    blame: str = "",
    check: Callable[[At, Values], None] | None = None,
    constants: Mapping[str, str] | None = None,
) -> Part:
    """An object that becomes one value.

    Parameters
    ----------
    make : callable
        Takes the attributes by name; what it refuses is told with the place.
    blame : str
        Key whose place is told then; the object's own where it is empty.
    check : callable, optional
        Refuses what the parts by themselves cannot see.
    constants : mapping of str to str, optional
        Keys with one value, which is written and not read.
    """
    fixed = dict(constants or {})

    def read(at: At) -> Any:
        at.must_be_object()
        values: Values = {}
        for key in keys:
            values |= key.read(at)
        if check is not None:
            check(at, values)
        return (at.get(blame) if blame else at).built(lambda: make(**values))

    def write(value: Any, before: Any) -> Values:
        raw = before if isinstance(before, dict) else {}
        return over(raw, fixed | {key.name: key.write(value, raw) for key in keys})

    return Part(read, write, keys_schema(keys, **fixed))


def listed(part: Part, *, by: str = "id") -> Part:
    """A list; each element is written over the one of the file with the same `by`, used once."""

    def write(values: Any, before: Any) -> list[Any]:
        left = [e for e in before or [] if isinstance(e, dict)]
        out = []
        for value in values:
            name = getattr(value, by, None)
            raw = next((e for e in left if e.get(by) == name), None)
            if raw is not None:
                left.remove(raw)
            out.append(part.write(value, raw))
        return out

    return Part(
        lambda at: tuple(part.read(item) for item in at.items()),
        write,
        {"type": "array", "items": part.schema},
    )


def over(raw: Mapping[str, Any], known: Mapping[str, Any]) -> Values:
    """Lay known values over the object as read.

    None: the key goes. False, empty text, list or object: only where the file had the key. What
    did not change is written as it was read (``0``, not ``0.0``).
    """
    out = dict(raw)
    for key, value in known.items():
        if value is None:
            if out.get(key) is not None:
                del out[key]
        elif key not in raw and (value is False or value in ("", [], {})):
            continue
        elif key not in raw or canonical(raw[key]) != canonical(value):
            out[key] = value
    return out


def canonical(value: Any) -> Any:
    """JSON with every number a float: ``1`` and ``1.0``, ``-0.0`` and ``0`` are the same."""
    match value:
        case bool() | None | str():
            return value
        case int() | float():
            return float(value) + 0.0
        case Mapping():
            return {key: canonical(item) for key, item in value.items()}
        case _:
            return [canonical(item) for item in value]


def one_of(*words: str) -> Part:
    """One of some words."""
    return Part(lambda at: at.one_of(*words), _same, {"enum": list(words)})


def number(*, size: float = FARTHEST_MM) -> Part:
    """A number whose amount is not above `size`."""
    return Part(
        lambda at: at.number(size=size),
        _same,
        {"type": "number", "minimum": -size, "maximum": size},
    )


def whole(*, least: int) -> Part:
    """A whole number, not below `least`."""
    return Part(lambda at: at.whole(least=least), _same, {"type": "integer", "minimum": least})


def point_list(*, least: int = 1) -> Part:
    """(n, 3) patient LPS mm."""
    return Part(
        lambda at: points(at.points(least=least)),
        lambda value, _: [_plain(p) for p in value],
        {"type": "array", "items": _POINT, "minItems": least},
    )


def texts_by_name() -> Part:
    """Texts under names of any kind."""

    def read(at: At) -> dict[str, str]:
        at.must_be_object()
        return {key: at.get(key).text() for key in at.value if at.has(key)}

    return Part(
        read,
        lambda value, _: dict(value),
        {"type": "object", "additionalProperties": {"type": ["string", "null"]}},
    )


def _same(value: Any, _: Any) -> Any:
    return value


def _plain(point: Array) -> list[float]:
    return [float(x) for x in np.asarray(point)]


def _direction(direction: Array, before: Any) -> Any:
    # Made unit twice, a direction can move by its last digit, and the plan's fingerprint with it.
    if isinstance(before, list) and np.array_equal(unit(before), direction):
        return before
    return _plain(direction)


_POINT: Schema = {
    "type": "array",
    "items": {"type": "number", "minimum": -FARTHEST_MM, "maximum": FARTHEST_MM},
    "minItems": 3,
    "maxItems": 3,
}

TEXT = Part(At.text, _same, {"type": "string"})
ID = Part(At.id, _same, {"type": "string", "pattern": "^[a-z0-9-]+$"})
TOOTH = Part(At.tooth, _same, {"type": "string", "pattern": "^[1-4][1-8]$"})
YES_NO = Part(At.yes_no, _same, {"type": "boolean"})
LENGTH = Part(At.length, _same, {"type": "number", "exclusiveMinimum": 0, "maximum": LONGEST_MM})
POINT = Part(lambda at: vector(at.point()), lambda value, _: _plain(value), _POINT)
PLACE = Part(At.point, lambda value, _: list(value), _POINT)
DIRECTION = Part(lambda at: vector(at.point()), _direction, _POINT)
