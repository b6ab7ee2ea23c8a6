"""Every kind of structure that can be marked, and all that depends on what it is: one table.

A further kind is one more row: marks, plan files, clearances, remaining bone, pictures, sheet,
report and declarations read it here. What it is called, drawn and held against stands beside it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, TypeAlias

from core.words.catalogue import Words, message

Shape: TypeAlias = Literal["course", "foramen", "tapered", "floor", "points", "object"]
"""How it is marked: a tube along a curve, two edges, a tapered axis, a surface, points, centres."""

Hue: TypeAlias = Literal["ivory", "reddish purple", "orange", "sky blue"]

_OLD_NAMES = {"nasal": "nasal floor"}
"""Names that plan files hold in declarations and that are no ids."""

UNNAMED = 0
"""In the place of a tooth's position: a fixture whose tooth nobody named."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """Where a kind must be marked or declared, else the ledger says *not marked*.

    Parameters
    ----------
    jaw : {'lower', 'upper'}
    positions : tuple of int
        Of the fixture's tooth, 1 to 8 from the midline, or `UNNAMED`.
    otherwise : tuple of str
        Declared names of kinds that do as well here.
    """

    jaw: Literal["lower", "upper"]
    positions: tuple[int, ...]
    otherwise: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """How pictures draw a kind.

    Parameters
    ----------
    style : str
        Name of its lines in display lists.
    legend : Words
    width_mm, dash_mm, double
        As `core.pictures.ink.Stroke`.
    hue : str
        On the dark surroundings of a screen.
    hatched : bool
        A nerve: the cut is hatched too.
    """

    style: str
    legend: Words
    width_mm: float = 0.25
    dash_mm: tuple[float, ...] = ()
    double: bool = False
    hue: Hue = "ivory"
    hatched: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Concept:
    """Coded meaning in the structured report; without a scheme the program's private one.

    Parameters
    ----------
    code, meaning, scheme : str
    definition : str
        Of a code of the private scheme, in whose written list it stands; empty: as marked.
    """

    code: str
    meaning: str
    scheme: str = ""
    definition: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StructureKind:
    """One kind of structure.

    Parameters
    ----------
    id : str
    shape : Shape
    words : Words
        For people, as within a sentence.
    in_files : str
        Value of ``kind`` in plan files, where it is not the id.
    group : {'danger', 'roots', 'information', ''}
        Where the ledger shows its clearance; empty for what gets none.
    limit : str
        Key of the least allowed distance; empty where there is none.
    zoned : bool
        Shoulder and deeper part of a fixture have limits of their own.
    is_danger : bool
        Lines of equal distance are drawn around it.
    in_bone : {'', 'other', 'root'}
        What it is to a ray through the remaining bone: nothing, no bone, or the end of the ray.
    ends_height : bool
        The height of the ridge ends at it.
    diameter : {'', 'needed', 'assumed'}
        Of a course without one: a mere line (the lower border), only an upper bound, or a
        diameter is assumed (`core.distances.tubes`).
    canal_sized : bool
        Its diameter is that of a canal, else the plan is refused.
    fits : bool
        The image can be asked for its diameter at a mark (`core.image.canal_fit`).
    turns_back : bool
        Its marks may turn back on themselves.
    along_arch : bool
        It runs along the jaw: marks must go on beyond the fixture on both sides.
    joins : bool
        The end of another course that runs into it is no open end.
    smooth : bool
        Marks far apart leave a doubt of the course between them.
    ends_at_marks : bool
        Of a tapered axis: nothing of it goes on beyond its first and last mark.
    declared_as : str
        Name in declarations: its id (`_OLD_NAMES` apart), with a hyphen at its end where the tooth
        follows. Empty: it cannot be declared.
    expected : tuple of Expected
    of_neighbours : bool
        Expected of each neighbour of a fixture's tooth.
    drawn : Drawn or None
        None for what pictures leave out.
    concept : Concept or None
    in_mesh, on_film : bool
        It goes to the laboratory as a mesh; it is drawn on the expected check film.
    """

    id: str
    shape: Shape
    words: Words
    in_files: str = ""
    group: Literal["danger", "roots", "information", ""] = ""
    limit: str = ""
    zoned: bool = False
    is_danger: bool = False
    in_bone: Literal["", "other", "root"] = ""
    ends_height: bool = False
    diameter: Literal["", "needed", "assumed"] = ""
    canal_sized: bool = False
    fits: bool = False
    turns_back: bool = False
    along_arch: bool = False
    joins: bool = False
    smooth: bool = True
    ends_at_marks: bool = False
    declared_as: str = ""
    expected: tuple[Expected, ...] = ()
    of_neighbours: bool = False
    drawn: Drawn | None = None
    concept: Concept | None = None
    in_mesh: bool = False
    on_film: bool = False

    def __post_init__(self) -> None:
        if (self.group in ("danger", "roots")) != bool(self.limit):
            raise ValueError(f"{self.id}: what the ledger judges has a limit, and nothing else has")
        if self.limit and self.shape in ("points", "object"):
            raise ValueError(f"{self.id}: points and objects get no clearance that could be judged")
        if self.limit and (self.shape == "tapered") != (self.group == "roots"):
            raise ValueError(f"{self.id}: what tapers is judged as a root, and nothing else is")
        if self.declared_as not in ("", self.id, f"{self.id}-", _OLD_NAMES.get(self.id)):
            raise ValueError(f"{self.id}: it is declared by its id, or by no name")
        if self.expected and not self.declared_as:
            raise ValueError(f"{self.id}: what is expected can be declared")
        if self.in_bone and self.shape not in ("course", "foramen", "tapered"):
            raise ValueError(f"{self.id}: only what has a thickness takes the place of bone")

    @property
    def file_kind(self) -> str:
        """Value of ``kind`` in plan files."""
        return self.in_files or self.id


KINDS: tuple[StructureKind, ...] = (
    StructureKind(
        id="canal",
        shape="course",
        words=message("things.kind.canal"),
        group="danger",
        limit="canal",
        is_danger=True,
        in_bone="other",
        ends_height=True,
        diameter="assumed",
        canal_sized=True,
        fits=True,
        along_arch=True,
        joins=True,
        declared_as="canal",
        expected=(Expected(jaw="lower", positions=(UNNAMED, 4, 5, 6, 7, 8)),),
        drawn=Drawn(
            style="canal",
            legend=message("things.kind.canal"),
            width_mm=0.3,
            hue="reddish purple",
            hatched=True,
        ),
        concept=Concept(code="canal", meaning="Mandibular canal"),
        in_mesh=True,
        on_film=True,
    ),
    StructureKind(
        id="foramen",
        shape="foramen",
        words=message("things.kind.foramen"),
        group="danger",
        limit="foramen",
        is_danger=True,
        ends_height=True,
        joins=True,
        declared_as="foramen",
        expected=(Expected(jaw="lower", positions=(UNNAMED, 4, 5, 6, 7, 8)),),
        drawn=Drawn(
            style="foramen",
            legend=message("things.kind.foramen"),
            width_mm=0.3,
            dash_mm=(0.35, 0.45),
            hue="reddish purple",
        ),
        concept=Concept(code="foramen", meaning="Mental foramen"),
    ),
    StructureKind(
        id="loop",
        shape="course",
        words=message("things.kind.loop"),
        group="danger",
        limit="loop",
        is_danger=True,
        in_bone="other",
        ends_height=True,
        diameter="needed",
        canal_sized=True,
        turns_back=True,
        joins=True,
        declared_as="loop",
        expected=(
            Expected(jaw="lower", positions=(3, 4, 5)),
            Expected(jaw="lower", positions=(1, 2), otherwise=("foramen",)),
        ),
        drawn=Drawn(
            style="loop",
            legend=message("things.legend.loop"),
            width_mm=0.3,
            dash_mm=(0.9, 0.5),
            hue="reddish purple",
            hatched=True,
        ),
        concept=Concept(code="loop", meaning="Anterior loop of the mandibular canal"),
    ),
    StructureKind(
        id="vessel",
        shape="course",
        words=message("things.kind.vessel"),
        group="danger",
        limit="vessel",
        is_danger=True,
        in_bone="other",
        ends_height=True,
        diameter="needed",
        drawn=Drawn(
            style="vessel",
            legend=message("things.kind.vessel"),
            dash_mm=(1.2, 0.4, 0.3, 0.4),
            hue="orange",
        ),
        concept=Concept(code="vessel", meaning="Vessel in bone"),
    ),
    StructureKind(
        id="border",
        shape="course",
        words=message("things.kind.border"),
        group="danger",
        limit="border",
        ends_height=True,
        along_arch=True,
        smooth=False,
        drawn=Drawn(
            style="border",
            legend=message("things.kind.border"),
            dash_mm=(2.0, 0.4, 0.3, 0.4, 0.3, 0.4),
        ),
        concept=Concept(code="lower-border", meaning="Lower border of the mandible"),
    ),
    StructureKind(
        id="sinus",
        shape="floor",
        words=message("things.kind.sinus"),
        in_files="floor",
        group="danger",
        limit="floor",
        is_danger=True,
        ends_height=True,
        declared_as="sinus",
        expected=(
            Expected(jaw="upper", positions=(4, 5, 6, 7, 8)),
            Expected(jaw="upper", positions=(UNNAMED,), otherwise=("nasal floor",)),
        ),
        drawn=Drawn(
            style="floor",
            legend=message("things.legend.floor"),
            width_mm=0.35,
            dash_mm=(3.0, 0.7),
            hue="sky blue",
        ),
        concept=Concept(code="15924003", meaning="Maxillary sinus", scheme="SCT"),
    ),
    StructureKind(
        id="nasal",
        shape="floor",
        words=message("things.kind.nasal"),
        in_files="floor",
        group="danger",
        limit="floor",
        is_danger=True,
        ends_height=True,
        declared_as="nasal floor",
        expected=(Expected(jaw="upper", positions=(1, 2, 3)),),
        drawn=Drawn(
            style="floor",
            legend=message("things.legend.floor"),
            width_mm=0.35,
            dash_mm=(3.0, 0.7),
            hue="sky blue",
        ),
        concept=Concept(code="279549004", meaning="Nasal cavity", scheme="SCT"),
    ),
    StructureKind(
        id="root",
        shape="tapered",
        words=message("things.kind.root"),
        group="roots",
        limit="root",
        zoned=True,
        in_bone="root",
        ends_height=True,
        declared_as="root-",
        of_neighbours=True,
        drawn=Drawn(
            style="root", legend=message("things.kind.root"), dash_mm=(2.0, 0.8), hue="sky blue"
        ),
    ),
    StructureKind(
        id="existing",
        shape="tapered",
        words=message("things.kind.existing"),
        group="roots",
        limit="fixture",
        zoned=True,
        in_bone="other",
        ends_height=True,
        ends_at_marks=True,
        drawn=Drawn(
            style="existing",
            legend=message("things.kind.existing"),
            width_mm=0.55,
            dash_mm=(2.0, 0.8),
            double=True,
        ),
        concept=Concept(code="existing", meaning="Existing implant or metal"),
    ),
    StructureKind(
        id="mark",
        shape="points",
        words=message("things.kind.mark"),
        group="information",
        drawn=Drawn(style="mark", legend=message("things.kind.mark")),
    ),
    StructureKind(
        id="gum",
        shape="points",
        words=message("things.kind.gum"),
        concept=Concept(code="gum", meaning="Gum"),
    ),
    StructureKind(id="stent_top", shape="points", words=message("things.kind.stent-top")),
    StructureKind(id="cusp", shape="points", words=message("things.kind.cusp")),
    StructureKind(id="contact", shape="points", words=message("things.kind.contact")),
    StructureKind(id="opponent", shape="points", words=message("things.kind.opponent")),
    StructureKind(
        id="crest",
        shape="points",
        words=message("things.kind.crest"),
        drawn=Drawn(style="crest", legend=message("things.legend.crest"), width_mm=0.45),
    ),
    StructureKind(id="object", shape="object", words=message("things.kind.object")),
)

KIND: Mapping[str, StructureKind] = MappingProxyType({kind.id: kind for kind in KINDS})

FILE_KINDS: tuple[str, ...] = tuple(dict.fromkeys(kind.file_kind for kind in KINDS))
"""Values of ``kind`` that a plan file may hold."""


def ids_of(shape: Shape) -> tuple[str, ...]:
    """Ids of the kinds that are marked in one way."""
    return tuple(kind.id for kind in KINDS if kind.shape == shape)


def declared_kind(name: str) -> StructureKind | None:
    """The kind that a declaration names; None where the name is no kind's.

    Rows of what is expected carry the same name, with hyphens between its words.
    """
    asked = name.replace(" ", "-")
    for kind in KINDS:
        own = kind.declared_as.replace(" ", "-")
        if own and (asked.startswith(own) if own.endswith("-") else asked == own):
            return kind
    return None
