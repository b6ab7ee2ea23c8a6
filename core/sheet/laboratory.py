"""The laboratory's page: restorative numbers of each fixture, its pose, and what the meshes are."""

from __future__ import annotations

import numpy as np

from core.fixture import Fixture
from core.sheet.case import Case, Subject
from core.sheet.mesh import SUFFIX
from core.sheet.mesh_files import LIST, PACKAGE, body_names
from core.sheet.page import Pages, PaperName
from core.sheet.page_frame import heading
from core.sheet.small_pages import plain_head
from core.trust.figures import plain, shown
from core.words.catalogue import say

_TOP_MM = 34.0
_SIZE = 11.0


def laboratory_pdf(case: Case, *, paper: PaperName = "A4") -> bytes | None:
    """The page as a PDF; None where the plan holds no fixture."""
    subjects = [s for s in case.subjects if s.fixture is not None]
    if not subjects:
        return None
    pages = Pages(paper, top_mm=_TOP_MM)
    pages.new_page()
    words = say(
        "sheet.laboratory.meshes",
        suffix=SUFFIX,
        package=PACKAGE,
        listed=LIST,
        bodies=", ".join(body_names(case)),
    )
    pages.y = pages.block(pages.left, pages.y, pages.inner, words, size=10) + 4.0
    for subject in subjects:
        if subject.fixture is not None:
            _fixture(pages, case, subject, subject.fixture)
    title = say("sheet.laboratory.title")
    return pages.render(plain_head(case, title, with_birth_date=True), case.facts(title))


def pose_lines(fixture: Fixture) -> list[tuple[str, str]]:
    """Platform, apex, axis and size, points with 0.01 mm and directions with four decimals."""
    size = fixture.size
    return [
        (say("sheet.laboratory.platform"), f"{_point(fixture.platform)} mm"),
        (say("sheet.laboratory.apex"), f"{_point(fixture.apex)} mm"),
        (say("sheet.laboratory.axis"), ", ".join(f"{v + 0.0:.4f}" for v in fixture.towards_apex)),
        (say("sheet.laboratory.size"), f"{plain(size.diameter_mm)} × {plain(size.length_mm)} mm"),
        (say("sheet.laboratory.diameters"), f"{plain(size.platform)} / {plain(size.apical)} mm"),
    ]


def _point(point: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> str:
    return ", ".join(f"{round(float(v), 2) + 0.0:.2f}" for v in point)


def _fixture(pages: Pages, case: Case, subject: Subject, fixture: Fixture) -> None:
    rows = [m for m in case.rows(subject) if m.kind.row.for_laboratory]
    lines = pose_lines(fixture)
    for m in rows:
        unit = "°" if m.reading.unit == "deg" else " mm"
        value = say("sheet.laboratory.not-assessed") if m.value is None else f"{shown(m)}{unit}"
        lines.append((case.name(m), value))
    if not rows:
        lines.append((say("sheet.laboratory.angles"), say("sheet.laboratory.not-marked")))
    pages.ensure(10.0 + 6.0 * min(len(lines), 8))
    words = say("sheet.laboratory.fixture", words=subject.words, id=fixture.id)
    heading(pages, words, size=13)
    middle = pages.left + pages.inner * 0.55
    for name, value in lines:
        pages.ensure(6.0)
        pages.text(pages.left, pages.y + 4.2, name, size=_SIZE, width=middle - pages.left - 3.0)
        pages.text(middle, pages.y + 4.2, value, size=_SIZE, width=pages.right - middle)
        pages.y += 6.0
    pages.y += 4.0
