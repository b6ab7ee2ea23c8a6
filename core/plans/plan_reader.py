"""A value in a plan document together with its place, so that every refusal names both."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, TypeVar

from core.errors import PlanError
from core.identity import Tooth
from core.plans.plan_json import kind_of
from core.words.catalogue import Words, message

T = TypeVar("T")

FARTHEST_MM = 10_000.0
"""A coordinate further than 10 m from the origin is no place in a patient."""

LONGEST_MM = 1_000.0
"""A length above 1 m is no size in a jaw."""

_TOP = message("plans.file.top-level")
_ID = re.compile(r"[a-z0-9-]+")


@dataclass(frozen=True, slots=True)
class At:
    """A JSON value and where it stands (``structures[2].points[0]``)."""

    value: Any
    where: str = ""

    def wrong(self, expected: Words) -> PlanError:
        """Refusal: here *expected* was expected, and something else was found."""
        return PlanError(
            "plan-invalid",
            where=self.where or _TOP,
            expected=expected,
            found=kind_of(self.value),
        )

    def has(self, key: str) -> bool:
        """True when an object has the key with anything but null."""
        return isinstance(self.value, dict) and self.value.get(key) is not None

    def get(self, key: str) -> At:
        """Value of a key that must be there.

        Raises
        ------
        PlanError
            ``plan-invalid`` when this is not an object; ``plan-missing-key``.
        """
        self.must_be_object()
        if self.value.get(key) is None:
            raise PlanError("plan-missing-key", where=self.where or _TOP, key=key)
        return self._at(key)

    def maybe(self, key: str, read: Callable[[At], T]) -> T | None:
        """Read a key that may be missing or null."""
        self.must_be_object()
        return read(self._at(key)) if self.has(key) else None

    def each(self, key: str, read: Callable[[At], T]) -> tuple[T, ...]:
        """Read every element of a list that may be missing or null."""
        self.must_be_object()
        return tuple(read(item) for item in self._at(key).items()) if self.has(key) else ()

    def _at(self, key: str) -> At:
        return At(self.value[key], f"{self.where}.{key}" if self.where else key)

    def must_be_object(self) -> None:
        """Insist on an object."""
        if not isinstance(self.value, dict):
            raise self.wrong(message("plans.file.an-object"))

    def items(self) -> Iterator[At]:
        """Elements of a list."""
        if not isinstance(self.value, list):
            raise self.wrong(message("plans.file.a-list"))
        for i, item in enumerate(self.value):
            yield At(item, f"{self.where}[{i}]")

    def text(self) -> str:
        """Text of any kind."""
        if not isinstance(self.value, str):
            raise self.wrong(message("plans.file.a-text"))
        return self.value

    def yes_no(self) -> bool:
        """True or false."""
        if not isinstance(self.value, bool):
            raise self.wrong(message("plans.file.true-or-false"))
        return self.value

    def one_of(self, *allowed: str) -> Any:
        """One of the listed words."""
        if self.value not in allowed or not isinstance(self.value, str):
            raise self.wrong(message("plans.file.one-of", allowed=", ".join(map(repr, allowed))))
        return self.value

    def whole(self, *, least: int) -> int:
        """A whole number, not below `least`."""
        if isinstance(self.value, bool) or not isinstance(self.value, int) or self.value < least:
            raise self.wrong(message("plans.file.whole-number", least=least))
        return self.value

    def number(self, *, size: float = FARTHEST_MM) -> float:
        """A number whose amount is not above `size`."""
        if isinstance(self.value, bool) or not isinstance(self.value, (int, float)):
            raise self.wrong(message("plans.file.a-number"))
        if abs(self.value) > size:
            raise self.wrong(message("plans.file.number-within", size=size))
        return float(self.value)

    def length(self) -> float:
        """A length in mm, above 0."""
        value = self.number(size=LONGEST_MM)
        if value <= 0:
            raise self.wrong(message("plans.file.a-length"))
        return value

    def point(self) -> tuple[float, float, float]:
        """``[x, y, z]`` in mm."""
        if not isinstance(self.value, list) or len(self.value) != 3:
            raise self.wrong(message("plans.file.a-point"))
        x, y, z = (item.number() for item in self.items())
        return x, y, z

    def points(self, *, least: int = 1) -> list[tuple[float, float, float]]:
        """A list of at least so many points."""
        if not isinstance(self.value, list) or len(self.value) < least:
            raise self.wrong(message("plans.file.points", least=least))
        return [item.point() for item in self.items()]

    def id(self) -> str:
        """An id of small letters, digits and hyphens."""
        if not isinstance(self.value, str) or not _ID.fullmatch(self.value):
            raise self.wrong(message("plans.file.an-id"))
        return self.value

    def tooth(self) -> str:
        """A permanent tooth's ISO 3950 number, as text."""
        if not isinstance(self.value, str):
            raise self.wrong(message("plans.file.a-tooth"))
        try:
            return Tooth.of(self.value).iso
        except PlanError as error:
            raise PlanError("plan-wrong-tooth", where=self.where, reason=str(error)) from error

    def built(self, make: Callable[[], T]) -> T:
        """Build a value object; what its own checks refuse is told with the place.

        Raises
        ------
        PlanError
            ``plan-invalid-value`` with the reason.
        """
        try:
            return make()
        except ValueError as error:
            raise PlanError("plan-invalid-value", where=self.where, reason=str(error)) from error
