"""One structure of a kind through plan file, ledger, remaining bone, picture, sheet and report."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np

from core.arch import fixture_frame
from core.bone.remaining_bone_rays import _marked
from core.distances.outline import distance_lines, structure_lines
from core.geometry import PictureGrid
from core.identity import Tooth, declared_name, expected_structures, thing_words
from core.kinds import KIND
from core.measuring.basis import RowMaker
from core.measuring.rows_danger import DangerRows
from core.pictures.ink import STROKES, WORDS
from core.plans.marks import marks_of_structures
from core.plans.plan_dump import document_of
from core.plans.plan_parse import parse
from core.sheet.basis_pages import _structure_words
from core.sheet.concepts import target_code
from core.structures import Course, Floor, Foramen, KnownObject, PointMarks, Structure, Tapered
from tests.sheet_material import arch_of, fixture_at, on_arch, plan_with, round_jaw

FIXTURE = fixture_at(15.0, "36")
OUT = on_arch(15.0, 0.0) / np.linalg.norm(on_arch(15.0, 0.0))
ALONG = np.array([-OUT[1], OUT[0], 0.0])
UP = np.array([0.0, 0.0, 1.0])
PLACE = on_arch(15.0, 16.0) + 5.0 * OUT
VOLUME = cache(round_jaw)


def sample(kind_id: str) -> Structure:
    """A structure of the kind 5 mm beside the fixture's axis; a floor 2 mm beyond its apex."""
    kind, name = KIND[kind_id], f"{kind_id.replace('_', '-')}-1"
    along = np.array([PLACE + s * ALONG for s in (-9.0, -3.0, 3.0, 9.0)])
    match kind.shape:
        case "course":
            return Course(id=name, kind=kind_id, points=along, diameter_mm=2.0)
        case "foramen":
            return Foramen(
                id=name, kind=kind_id, mesial=PLACE + 1.5 * ALONG, distal=PLACE - 1.5 * ALONG
            )
        case "tapered":
            ends = np.array([PLACE + 4.0 * UP, PLACE - 4.0 * UP])
            return Tapered(id=name, kind=kind_id, tooth="35", points=ends, diameters_mm=(4.0, 2.0))
        case "floor":
            around = [(u, v) for u in (-6.0, -2.0, 2.0, 6.0) for v in (-6.0, -2.0, 2.0, 6.0)]
            below = FIXTURE.apex - 2.0 * UP
            marks = np.array([below + u * OUT + v * ALONG for u, v in around])
            return Floor(id=name, of=kind_id, points=marks)
        case "points":
            return PointMarks(id=name, kind=kind_id, points=PLACE[None])
        case "object":
            return KnownObject(id=name, points=np.array([PLACE, PLACE + 5.0 * UP]), size_mm=5.0)


def journey(kind_id: str) -> SimpleNamespace:
    """What becomes of a structure of the kind, wherever structures go."""
    structure = sample(kind_id)
    plan = plan_with(FIXTURE)
    plan = replace(plan, structures=(*plan.structures, structure))
    written = document_of(plan)
    read = parse(written)
    frame = fixture_frame(FIXTURE, arch_of(plan))
    maker = RowMaker(
        plan=plan, volume=VOLUME(), subject="36", is_fixture=True, tooth=Tooth.of("36"),
        hindrances=(), platform=FIXTURE.platform,
    )  # fmt: skip
    basis = SimpleNamespace(arch=arch_of(plan))
    danger = DangerRows(
        plan=plan, basis=basis, fixture=FIXTURE, frame=frame, maker=maker, fine=True
    )
    rows = list(danger._of(structure))
    rays = _marked(np.array([on_arch(15.0, 16.0)]), OUT[None], (structure,), 120)
    grid = PictureGrid.of_size(origin=PLACE, right=OUT, up=UP, size_mm=(30.0, 30.0), pixel_mm=0.2)
    styles = {line.style for line in structure_lines((structure,), grid)}
    return SimpleNamespace(
        kind=KIND[kind_id],
        structure=structure,
        written=written["structures"][-1],
        same=document_of(read) == written,
        rows=rows,
        in_bone=set(rays[rays > 0].tolist()),
        styles=styles,
        drawn=all(style in STROKES for style in styles),
        legend=[WORDS[style] for style in styles if style in WORDS],
        lines=len(distance_lines((structure,), grid, (2.0,))),
        marks={mark.kind for mark in marks_of_structures((structure,))},
        sheet=_structure_words(structure),
        report=[target_code(m, {structure.id: structure}, "lower").meaning for m in rows],
        words=thing_words(structure.id),
        declared=declared_name(structure),
        expected=[e.any_of for e in expected_structures(Tooth.of("36"))],
    )
