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
from core.words.catalogue import say
from core.words.values import SIDES

_PIXEL_MM = 0.2
_TOP_MM = 34.0
_FIXTURE_AND_PIN = 2
"""Outlines that every film shows; further lines are canals."""


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
    depth = _pin_depth_mm(fixture, pin)
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
    if frame.named_by_tooth:
        edges = (str(SIDES["mesial"]), str(SIDES["distal"]))
    else:
        edges = (say("pictures.side.towards-right"), say("pictures.side.towards-left"))
        mesial_right = float(film.grid.right[0]) < 0
    sides = Sides(left=edges[mesial_right], right=edges[not mesial_right], top="", bottom="")
    tip = film.project(fixture.on_axis(depth)[None])[0]
    words = say("sheet.film.pin", mm=plain(depth))
    named = Label(text=words, at=(float(tip[0]) + 6.0, float(tip[1])), style="numeral")
    chart = Chart(
        title=say("sheet.film.title"),
        subtitle=say("sheet.film.magnified", magnification=tube.magnification),
        grey=np.where(whole, picture, np.nan).astype(np.float32),
        pixel_mm=_PIXEL_MM,
        window=(0.0, high),
        sides=sides,
        lines=tuple(lines),
        labels=(named,),
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
        plain_head(case, say("sheet.film.short-title"), with_birth_date=True),
        case.facts(say("sheet.film.title")),
    )


def _tube_words(tube: Tube) -> str:
    return say(
        "sheet.film.tube",
        source=plain(tube.source_to_film_mm),
        object=plain(tube.object_to_film_mm),
        up=nearest(tube.up_deg, 0),
        mesial=nearest(tube.mesial_deg, 0),
    )


def _pin_depth_mm(fixture: Fixture, pin: Pin) -> float:
    """What of the pin stands below the platform."""
    return fixture.size.length_mm if pin.depth_mm is None else pin.depth_mm


def _pin_mm(fixture: Fixture, pin: Pin) -> float:
    """The whole pin: what is in the bone and what stands out."""
    return _pin_depth_mm(fixture, pin) + pin.above_mm


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
        say("sheet.film.printed", title=chart.title, subtitle=chart.subtitle),
        _tube_words(tube),
        say(
            "sheet.film.lines",
            whole=plain(_pin_mm(subject.fixture, pin)),
            below=plain(_pin_depth_mm(subject.fixture, pin)),
            above=plain(pin.above_mm),
        ),
        *([say("sheet.film.canal")] if len(chart.lines) > _FIXTURE_AND_PIN else []),
        say("sheet.film.ten-mm", mm=10.0 * tube.magnification),
        say("sheet.film.true-depth-pin"),
        say("sheet.film.simulated"),
        say("sheet.film.to-fill-in", mm=plain(_pin_mm(subject.fixture, pin))),
        say("sheet.film.check-scale"),
    ]
    if not whole:
        texts.append(sentence("film-partly-scanned"))
    y = top
    for text in texts:
        y = pages.block(x, y, pages.right - x, text, size=10) + 2.5
    pages.y = max(top + height + 12.0, y + 2.0)
