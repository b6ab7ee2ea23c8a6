"""Rows of the planned crown and of the entry point; each only where its marks exist.

A plan without cusps, contacts or opponent has no such row: nobody asked for it, and a list of
*not assessed* would drown what matters. A fixture is held to one limit here, the room to its
opponent; everything else is information.

Marks of the person's own (kind ``mark``) count here by their label: ``central groove``, ``gum
margin``, ``enamel border``. That the teeth were together in the scan is a person's answer in the
plan file: ``"teeth_together": {"by": "LM", "at": "ISO 8601"}``. So is a room that was measured in
the mouth or on models, by fixture: ``"entered_room": {"36": {"mm": 8.0, "by": "LM", "at": ...}}``.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from core.arch import FixtureFrame
from core.distances.drilling import marks_at
from core.distances.entry import depth_below, entry_from_grooves, entry_from_neighbour
from core.distances.neighbour_marks import SideMarks, side_marks, with_plan_keys
from core.distances.restorative import (
    CROWN_ROOM_MM,
    ScrewExit,
    axis_angle,
    gum_thickness,
    mesiodistal_room,
    occlusal_plane,
    offset_at_occlusal_plane,
    offset_at_platform,
    opponent_room,
    screw_exit,
)
from core.fixture import Fixture
from core.geometry import Array
from core.level import Level
from core.measurement import Limit, Measurement, Reading
from core.measurement_kinds import MeasurementKind
from core.measuring.basis import Basis, RowMaker
from core.plans.limits import COMMON
from core.plans.outside import within_scan
from core.plans.plan import Plan
from core.structures import PointMarks, StentAxis
from core.words.catalogue import Words, message

MOST_ROOM_MM = 100.0
NEAR_MM = 15.0
"""A stent axis whose gingival end lies further from the platform belongs to another site."""

CUSPS_WITHIN_MM = 30.0
"""Cusps further from the platform do not carry the occlusal plane of this place."""

ROOM_LIMIT = Limit(
    key="room",
    value=CROWN_ROOM_MM,
    lower_line=None,
    source=COMMON,
    default=CROWN_ROOM_MM,
)

_SIDES = ("mesial", "distal")
_LABELS = {
    "gum margin": message("measuring.of.gum-margin"),
    "enamel border": message("measuring.of.enamel-border"),
}
_EXITS = {
    "buccal": message("measuring.of.exit-buccal"),
    "mesial": message("measuring.of.exit-mesial"),
    "left": message("measuring.of.exit-left"),
}
_FACING = {
    "mesial": message("measuring.of.facing-mesial"),
    "distal": message("measuring.of.facing-distal"),
    "left": message("measuring.of.facing-left"),
    "right": message("measuring.of.facing-right"),
}
_AIR_FROM_MM, _AIR_TO_MM = 0.75, 2.0


def crown_rows(
    plan: Plan, fixture: Fixture, frame: FixtureFrame, maker: RowMaker
) -> Iterator[Measurement]:
    """Stent axis, occlusal plane, room, entry point: what the plan has marks for.

    Parameters
    ----------
    plan : Plan
    fixture : Fixture
    frame : FixtureFrame
    maker : RowMaker
    """
    cusps = _cusps(plan, fixture)
    plane = None if plan.level is None else occlusal_plane(cusps, plan.level)
    made_of = tuple(marks.id for marks in cusps)
    for stent in plan.stent_axes:
        if float(np.linalg.norm(stent.gingival - fixture.platform)) <= NEAR_MM:
            yield from _stent_rows(fixture, stent, plane, made_of, maker)
    contacts = side_marks(fixture, frame, plan.structures, lambda s: s.kind == "contact")
    if plane is not None:
        beside = side_marks(fixture, frame, plan.structures, lambda s: s.kind == "cusp")
        both = next((m for m in (beside, contacts) if len(m) == len(_SIDES)), None)
        if both is not None:
            found = screw_exit(fixture, plane, frame, *(both[s].marks for s in _SIDES))
            yield from _exit_rows(found, frame, [both[s] for s in _SIDES], made_of, maker)
    yield from _room_rows(plan, fixture, contacts, maker)
    yield from _entry_rows(plan, fixture, frame, contacts, maker)


def gum_rows(
    plan: Plan, basis: Basis, fixture: Fixture, platform_depth: Reading, maker: RowMaker
) -> Iterator[Measurement]:
    """Thickness of the gum over the bone of the buccal rim, where air shows the gum's surface.

    Parameters
    ----------
    plan : Plan
    basis : Basis
    fixture : Fixture
    platform_depth : Reading
    maker : RowMaker
    """
    gum = marks_at(fixture, plan.structures, "gum")
    if gum is None or not _stands_free(basis, fixture, gum):
        return
    reading = gum_thickness(fixture, gum, platform_depth, gum_stands_free=True)
    yield _information(
        maker, MeasurementKind.DEPTH, ("gum",), reading, of="gum over the buccal rim"
    )


def _stands_free(basis: Basis, fixture: Fixture, gum: PointMarks) -> bool:
    """True where air lies on the marked gum: lip, cheek or stent on it would hide its surface."""
    if basis.levels.trouble is not None:
        return False
    out = np.linspace(_AIR_FROM_MM, _AIR_TO_MM, 6)[:, None] * fixture.a
    grey = basis.volume.grey_at((gum.points[:, None] + out).reshape(-1, 3))
    levels = basis.levels
    dark = levels.soft - 0.5 * (levels.cortical - levels.soft)
    return bool(np.isfinite(grey).all() and (grey < dark).all())


def _information(
    maker: RowMaker, kind: MeasurementKind, parts: tuple[str, ...], reading: Reading, *, of: Words,
    target: str = "", limit: Limit | None = None, base_length_mm: float | None = None,
    hand_ends: int | None = None,
) -> Measurement:  # fmt: skip
    return maker.row(
        group="information", kind=kind, target=target, parts=parts, reading=reading, limit=limit,
        details=kind.row.details(of=of), base_length_mm=base_length_mm, hand_ends=hand_ends,
    )  # fmt: skip


def _cusps(plan: Plan, fixture: Fixture) -> list[PointMarks]:
    """Those that the occlusal plane of this place runs through."""
    return [
        s
        for s in plan.structures
        if isinstance(s, PointMarks) and s.kind == "cusp" and _near(s.points, fixture)
    ]


def _near(points_mm: Array, fixture: Fixture) -> bool:
    away = np.linalg.norm(points_mm - fixture.platform, axis=1)
    return bool((away <= CUSPS_WITHIN_MM).all())


def _stent_rows(
    fixture: Fixture,
    stent: StentAxis,
    plane: Level | None,
    made_of: Sequence[str],
    maker: RowMaker,
) -> Iterator[Measurement]:
    length = float(np.linalg.norm(stent.gingival - stent.occlusal))
    yield _information(
        maker,
        MeasurementKind.ANGLE,
        (),
        axis_angle(fixture, stent),
        target=stent.id,
        base_length_mm=length,
        of=message("measuring.of.stent-angle"),
    )
    yield _information(
        maker,
        MeasurementKind.OFFSET,
        ("platform",),
        offset_at_platform(fixture, stent),
        target=stent.id,
        of=message("measuring.of.stent-offset"),
    )
    if plane is not None:
        reading = offset_at_occlusal_plane(fixture, stent, plane)
        reading = within_scan(reading, maker.plan, maker.volume, made_of)
        yield _information(
            maker, MeasurementKind.OFFSET, ("occlusal",), reading, target=stent.id,
            of=message("measuring.of.occlusal-offset"),
        )  # fmt: skip


def _exit_rows(
    found: ScrewExit | None,
    frame: FixtureFrame,
    sides: Sequence[SideMarks],
    made_of: Sequence[str],
    maker: RowMaker,
) -> Iterator[Measurement]:
    """Where the screw's line leaves, from the middle between the neighbours."""
    if found is None:
        return
    for name, part in (("buccal", found.buccal), ("mesial", found.mesial)):
        reading = with_plan_keys(part, *sides)
        of = _EXITS["left" if name == "mesial" and not frame.named_by_tooth else name]
        yield _information(
            maker,
            MeasurementKind.OFFSET,
            ("screw", name),
            within_scan(reading, maker.plan, maker.volume, made_of),
            of=of,
            hand_ends=2,
        )


def _room_rows(
    plan: Plan, fixture: Fixture, contacts: dict[str, SideMarks], maker: RowMaker
) -> Iterator[Measurement]:
    if len(contacts) == len(_SIDES):
        sides = [contacts[side] for side in _SIDES]
        reading = with_plan_keys(mesiodistal_room(sides[0].marks, sides[1].marks), *sides)
        yield _information(
            maker,
            MeasurementKind.ROOM,
            ("neighbours",),
            reading,
            of=message("measuring.of.contacts"),
            hand_ends=2,
        )
    opponent = marks_at(fixture, plan.structures, "opponent")
    entered = entered_room_mm(plan, fixture.id)
    if opponent is None and entered is None:
        return
    reading = opponent_room(
        fixture, opponent, teeth_together=teeth_together(plan), entered_mm=entered
    )
    yield _information(
        maker,
        MeasurementKind.ROOM,
        ("opponent",),
        reading,
        of=message("measuring.of.opponent"),
        limit=ROOM_LIMIT,
    )


def teeth_together(plan: Plan) -> bool:
    """Whether a person confirmed that the teeth were together in this scan."""
    answer = plan.document.get("teeth_together")
    return isinstance(answer, Mapping) and bool(answer.get("by"))


def entered_room_mm(plan: Plan, fixture_id: str) -> float | None:
    """Room that a person measured elsewhere and entered; None where nobody did."""
    rooms = plan.document.get("entered_room")
    room = rooms.get(fixture_id) if isinstance(rooms, Mapping) else None
    if not isinstance(room, Mapping) or not room.get("by"):
        return None
    mm = room.get("mm")
    known = isinstance(mm, int | float) and not isinstance(mm, bool) and 0 < mm < MOST_ROOM_MM
    return float(mm) if known and isinstance(mm, int | float) else None


def _entry_rows(
    plan: Plan,
    fixture: Fixture,
    frame: FixtureFrame,
    contacts: dict[str, SideMarks],
    maker: RowMaker,
) -> Iterator[Measurement]:
    """Distances that can be measured in the mouth."""
    for side in _SIDES:
        if side in contacts:
            marks = contacts[side]
            reading = with_plan_keys(entry_from_neighbour(fixture, marks.marks, frame), marks)
            of = _FACING[side if frame.named_by_tooth else _bare(side)]
            yield _information(maker, MeasurementKind.ENTRY, (side,), reading, of=of)
    grooves = side_marks(
        fixture, frame, plan.structures,
        lambda s: s.kind == "mark" and s.label.strip().lower() == "central groove",
    )  # fmt: skip
    if len(grooves) == len(_SIDES):
        sides = [grooves[side] for side in _SIDES]
        reading = entry_from_grooves(fixture, sides[0].marks, sides[1].marks, frame)
        yield _information(
            maker, MeasurementKind.ENTRY, ("grooves",), with_plan_keys(reading, *sides),
            of=message("measuring.of.grooves"),
        )  # fmt: skip
    for label, words in _LABELS.items():
        near = [
            s
            for s in plan.structures
            if isinstance(s, PointMarks)
            and s.label.strip().lower() == label
            and float(np.linalg.norm(s.points - fixture.platform, axis=1).min()) <= NEAR_MM
        ]
        for points in near[:1]:
            reading = depth_below(fixture, points)
            part = label.replace(" ", "-")
            yield _information(maker, MeasurementKind.ENTRY, (part,), reading, of=words)


def _bare(side: str) -> str:
    """Without a tooth nothing names mesial: m then runs towards the patient's left."""
    return "left" if side == "mesial" else "right"
