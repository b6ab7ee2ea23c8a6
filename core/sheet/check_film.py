"""The expected check radiograph on paper: what the film with the pin should show."""

from __future__ import annotations

import numpy as np

from core.arch import fixture_frame
from core.bone.level_learning import bone_levels
from core.distances.outline import style_of
from core.distances.solid import FixtureSolid
from core.distances.tubes import tubes_of
from core.drawing import Chart, Label, Line, Sides
from core.fixture import Fixture
from core.geometry import Array, unit
from core.image.radiograph import FILM_MM, Film, Tube, film_at, radiograph
from core.sheet.case import Case, Subject
from core.sheet.day import Pin
from core.sheet.page import Pages, PaperName
from core.sheet.page_frame import RULER_MM, ruler
from core.sheet.small_pages import plain_head
from core.structures import Course, kind_of
from core.trust.figures import nearest, plain
from core.words import sentence

_PIXEL_MM = 0.2
_TOP_MM = 34.0


def film_chart(case: Case, fixture: Fixture, *, tube: Tube, pin: Pin) -> tuple[Chart, bool]:
    """The picture, and whether every ray stayed in the scanned region.

    Parameters
    ----------
    case : Case
    fixture : Fixture
    tube : Tube
    pin : Pin
    """
    if case.arch is None:
        raise ValueError("a film needs a settled arch")
    frame = fixture_frame(fixture, case.arch)
    film = film_at(fixture, frame, tube, size_mm=FILM_MM, pixel_mm=_PIXEL_MM)
    soft = bone_levels(case.volume, case.arch, case.plan.tissue_points).soft
    picture, whole = radiograph(case.volume, film, soft=soft)
    # Film and sensor answer to the logarithm of what arrives: more bone is lighter.
    high = float(np.percentile(picture[whole], 99.5)) if whole.any() else 1.0
    depth = fixture.size.length_mm if pin.depth_mm is None else pin.depth_mm
    stick = FixtureSolid(
        origin=fixture.platform,
        axis=fixture.towards_apex,
        profile=np.array([(-pin.above_mm, pin.diameter_mm / 2), (depth, pin.diameter_mm / 2)]),
    )
    lines = [
        Line(style="fixture", points=_outline(FixtureSolid.of(fixture), film), closed=True),
        Line(style="witness", points=_outline(stick, film), closed=True),
    ]
    for structure in case.plan.structures:
        if isinstance(structure, Course) and kind_of(structure).on_film:
            lines += _canal(structure, film, fixture)
    mesial_right = float(film.grid.right @ frame.m) > 0
    words = ("mesial", "distal") if frame.named_by_tooth else ("towards R", "towards L")
    if not frame.named_by_tooth:
        mesial_right = float(film.grid.right[0]) < 0
    sides = Sides(left=words[mesial_right], right=words[not mesial_right], top="", bottom="")
    tip = film.project(fixture.on_axis(depth)[None])[0]
    chart = Chart(
        title="Expected check radiograph",
        subtitle=f"magnified {tube.magnification:.2f} at the fixture’s axis",
        grey=np.where(whole, picture, np.nan).astype(np.float32),
        pixel_mm=_PIXEL_MM,
        window=(0.0, high),
        sides=sides,
        lines=tuple(lines),
        labels=(Label(text=f"pin {plain(depth)}", at=(float(tip[0]) + 6.0, float(tip[1])),
                      style="numeral"),),
        grid=film.grid,
    )  # fmt: skip
    return chart, bool(whole.all())


def _outline(solid: FixtureSolid, film: Film) -> Array:
    """Outline of a solid of revolution on the film: the edge of it that rays graze.

    Drawn from both sides of each round, square to the ray through its middle.
    """
    centres = solid.origin + np.outer(solid.profile[:, 0], solid.axis)
    edges: list[list[Array]] = [[], []]
    for centre, radius in zip(centres, solid.profile[:, 1], strict=True):
        side = unit(np.cross(solid.axis, film.source_mm - centre))
        for n, sign in enumerate((-1.0, 1.0)):
            edges[n].append(centre + sign * radius * side)
    return film.project(np.array(edges[0] + edges[1][::-1]))


def _canal(canal: Course, film: Film, fixture: Fixture) -> list[Line]:
    style = style_of(canal)
    (tube,) = tubes_of(canal)
    stations = np.linspace(0.0, tube.length_mm, max(2, round(tube.length_mm / 0.5) + 1))
    centres, radii = tube.at(stations)
    near = np.linalg.norm(centres - fixture.platform, axis=1) < 35.0
    if style is None or near.sum() < 2:
        return []
    centres, radii = centres[near], radii[near]
    way = np.gradient(centres, axis=0)
    side = np.cross(way, film.source_mm - centres)
    side /= np.linalg.norm(side, axis=1)[:, None]
    return [
        Line(style=style, points=film.project(centres + sign * radii[:, None] * side))
        for sign in (-1.0, 1.0)
    ]


def check_film_pdf(case: Case, *, paper: PaperName = "A4") -> bytes | None:
    """A page for each two fixtures; None where there is none, or where the side is open."""
    subjects = [s for s in case.subjects if s.fixture is not None]
    if case.arch is None or not subjects:
        return None
    pages = Pages(paper, top_mm=_TOP_MM)
    pages.new_page()
    for subject in subjects:
        _film(pages, case, subject, case.day.tube, case.day.pin)
    return pages.render(
        plain_head(case, "Check radiograph", with_birth_date=True),
        case.facts("Expected check radiograph"),
    )


def _tube_words(tube: Tube) -> str:
    return (
        f"Tube {plain(tube.source_to_film_mm)} mm from the film, film "
        f"{plain(tube.object_to_film_mm)} mm behind the axis; tilted {nearest(tube.up_deg, 0)}° "
        f"from above, {nearest(tube.mesial_deg, 0)}° from mesial. Seen from the cheek."
    )


def _to_fill_in(pin_mm: float) -> str:
    return (
        f"On the real film: pin, true length {plain(pin_mm)} mm, measured ________ mm; the other "
        "length, measured ________ mm; its true length ________ mm."
    )


def _pin_mm(fixture: Fixture, pin: Pin) -> float:
    """The whole pin: what is in the bone and what stands out."""
    depth = fixture.size.length_mm if pin.depth_mm is None else pin.depth_mm
    return depth + pin.above_mm


def _film(pages: Pages, case: Case, subject: Subject, tube: Tube, pin: Pin) -> None:
    if subject.fixture is None:
        return
    chart, whole = film_chart(case, subject.fixture, tube=tube, pin=pin)
    scale = 2.0
    pages.ensure(chart.size_mm[1] * scale + 24.0)
    pages.text(pages.left, pages.y + 5.0, f"{subject.words} · {subject.size_words}", size=13,
               face="strong", width=pages.inner)  # fmt: skip
    top = pages.y + 9.0
    left = pages.left + 9.0
    width, height = pages.chart(chart, left, top, scale=scale)
    ruler(pages, left - 1.5, top + height - RULER_MM, upright=True)
    ruler(pages, left, top + height + 1.5, upright=False)
    x = left + width + 6.0
    texts = [
        f"{chart.title}: {chart.subtitle}; printed 2 : 1 of the film.",
        _tube_words(tube),
        "Double line: fixture. Single closed line: pin. Two lines: canal, as marked.",
        f"10 mm of pin, square to the ray, show {10.0 * tube.magnification:.1f} mm on this film.",
        "True depth = length on film × pin’s true length ÷ its length on film; along the pin only.",
        "Simulated from the scan: contrast and sharpness are not those of a film.",
        _to_fill_in(_pin_mm(subject.fixture, pin)),
        "Printed at 1 : 1? Each ruler must measure 50 mm of paper; measured: __________ mm",
    ]
    if not whole:
        texts.append(sentence("film-partly-scanned"))
    y = top
    for text in texts:
        y = pages.block(x, y, pages.right - x, text, size=10) + 2.5
    pages.y = max(top + height + 12.0, y + 2.0)
