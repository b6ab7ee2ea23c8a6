"""What a repeat study says: each person's scatter, and how well series of readings agree.

The length that is compared lies between a section's first two marks. One person is compared with
themselves, round 1 with round 2; two people by their first rounds. Whatever the study is too small
for is left out with its reason; nothing is made up.
"""

from __future__ import annotations

from dataclasses import dataclass

from core.errors import SoundingError
from core.geometry import Array
from core.trust.method_error import Intraclass, intraclass
from core.trust.repeatability import MethodError, RepeatStudy, Spread
from core.words.catalogue import Words, message


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comparison:
    """Two series of the same lengths.

    Parameters
    ----------
    title : Words
    first, second : (n,) mm
    error : MethodError
    """

    title: Words
    first: Array
    second: Array
    error: MethodError


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RepeatResult:
    """All that a study says.

    Parameters
    ----------
    study : RepeatStudy
    spreads : mapping of person to Spread
    comparisons : tuple of Comparison
    all_rounds : Intraclass or None
        Over every person and round that placed both marks everywhere.
    columns : int
        How many series that table has.
    troubles : tuple of str
        Sentences about what could not be told.
    """

    study: RepeatStudy
    spreads: dict[str, Spread]
    comparisons: tuple[Comparison, ...]
    all_rounds: Intraclass | None
    columns: int
    troubles: tuple[str, ...]

    @property
    def main(self) -> Comparison | None:
        """The one to show first: between two people where there are two."""
        return self.comparisons[-1] if self.comparisons else None


def result_of(study: RepeatStudy) -> RepeatResult:
    """Everything that a study, finished or not, can say."""
    troubles: list[str] = []
    spreads: dict[str, Spread] = {}
    for person in study.people:
        try:
            spreads[person] = study.spread(person)
        except SoundingError as fault:
            troubles.append(f"{person}: {fault}")
    pairs = [
        (message("trust.repeat.own-rounds", person=person), (person, 1), (person, 2))
        for person in study.people
    ]
    if len(study.people) > 1:
        one, two = study.people
        title = message("trust.repeat.two-people", first=one, second=two)
        pairs.append((title, (one, 1), (two, 1)))
    marks = _marks(study)
    comparisons: list[Comparison] = []
    table = None
    columns: tuple[tuple[str, int], ...] = ()
    if marks is None:
        troubles.append(str(SoundingError("repeat-one-mark")))
    else:
        for title, first, second in pairs:
            try:
                error = study.method_error(marks, first, second)
            except SoundingError as fault:
                troubles.append(f"{title}: {fault}")
                continue
            _, lengths = study.lengths(marks, (first, second))
            comparisons.append(
                Comparison(title=title, first=lengths[:, 0], second=lengths[:, 1], error=error)
            )
        columns = tuple(dict.fromkeys((r.person, r.round) for r in study.readings))
        try:
            table = intraclass(study.lengths(marks, columns)[1])
        except SoundingError as fault:
            troubles.append(str(fault))
    return RepeatResult(
        study=study,
        spreads=spreads,
        comparisons=tuple(comparisons),
        all_rounds=table,
        columns=len(columns),
        troubles=tuple(dict.fromkeys(troubles)),
    )


def _marks(study: RepeatStudy) -> tuple[str, str] | None:
    """The two marks between which a length is taken."""
    named = () if study.design is None else study.design.marks
    found = tuple(dict.fromkeys([*named, *(r.mark for r in study.readings)]))
    return (found[0], found[1]) if len(found) > 1 else None
