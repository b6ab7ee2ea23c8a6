"""Names that people gave to marks, replaced by names made of the marks' kinds."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Any, TypeVar

import numpy as np

from core.kinds import KINDS
from core.plans.plan import Plan
from core.structures import kind_of
from core.words import every_sentence
from core.words.catalogue import SOURCE, Message
from core.words.columns import meanings

T = TypeVar("T")

_WORD = re.compile(r"[a-z]+")
_BESIDE_KINDS = ("channel", "fixture", "site", "ruler", "angle")
"""What a plan names beside structures."""

_MOST_DIGITS = 2
"""A tooth's number or a counter; more digits could be a date or an identifier."""


@lru_cache(maxsize=1)
def vocabulary() -> frozenset[str]:
    """Words, in small letters, that stand in the program's own sentences."""
    kinds = (name for kind in KINDS for name in (kind.id, kind.file_kind))
    texts = (*kinds, *_BESIDE_KINDS, *every_sentence(), *meanings(SOURCE).values())
    return frozenset(_WORD.findall(" ".join(texts).lower()))


def says_nothing(name: str) -> bool:
    """True for a name made of the program's own words and short numbers only."""
    return all(
        part in vocabulary() or (part.isdigit() and len(part) <= _MOST_DIGITS)
        for part in name.split("-")
    )


def new_names(plan: Plan) -> dict[str, str]:
    """Another name for each thing whose name says more than its kind."""
    taken = {name for name, _ in _named(plan) if says_nothing(name)}
    found: dict[str, str] = {}
    for name, kind in _named(plan):
        if says_nothing(name) or name in found:
            continue
        number = 1
        while f"{kind}-{number}" in taken:
            number += 1
        found[name] = f"{kind}-{number}"
        taken.add(found[name])
    return found


def with_names(value: T, names: Mapping[str, str]) -> T:
    """The same value with every name replaced, in every text that it holds."""
    if not names:
        return value
    longest_first = sorted(names, key=len, reverse=True)
    either = "|".join(re.escape(name) for name in longest_first)
    pattern = re.compile(rf"(?<![a-z0-9-])(?:{either})(?![a-z0-9-])")
    found: T = _rewritten(value, pattern, names)
    return found


def _rewritten(value: Any, pattern: re.Pattern[str], names: Mapping[str, str]) -> Any:
    def again(part: Any) -> Any:
        return _rewritten(part, pattern, names)

    if isinstance(value, str):
        return pattern.sub(lambda match: names[match.group()], value)
    if isinstance(value, tuple):
        return tuple(again(part) for part in value)
    if isinstance(value, Message):
        return type(value)(value.key, again(value.fields))
    if isinstance(value, Mapping):
        return {again(key): again(part) for key, part in value.items()}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        changes = {}
        for field in dataclasses.fields(value):
            part = getattr(value, field.name)
            if field.init and not isinstance(part, np.ndarray):
                new = again(part)
                if new is not part:
                    changes[field.name] = new
        return dataclasses.replace(value, **changes) if changes else value
    return value


def _named(plan: Plan) -> Iterator[tuple[str, str]]:
    """Every name that a person may have given, and the kind of what it names."""
    for s in plan.structures:
        yield s.id, kind_of(s).file_kind.replace("_", "-")
    for things, kind in (
        (plan.fixtures, "fixture"),
        (plan.sites, "site"),
        (plan.stent_axes, "channel"),
        (plan.rulers, "ruler"),
        (plan.angles, "angle"),
    ):
        yield from ((thing.id, kind) for thing in things)
