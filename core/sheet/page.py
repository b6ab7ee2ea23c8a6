"""Pages that are laid out first and drawn last, when their number is known.

Places are mm from the upper left corner of the paper. Everything that is put on a page is also
kept as a box, so that a test can tell what leaves the paper or covers something else.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import groupby
from typing import Any, Literal, TypeAlias

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from core.drawing import Chart
from core.pictures.ink import BLACK, WHITE, Colour
from core.sheet.fonts_found import Face
from core.sheet.lasting import Facts, make_lasting, with_clean_streams
from core.sheet.outline import Outline, alternative
from core.sheet.picture import draw_chart
from core.sheet.structure import Element, add_structure
from core.sheet.text import Setting, fitted, registered, set_text, wrapped

PaperName: TypeAlias = Literal["A4", "Letter"]
SIZES_MM: dict[str, tuple[float, float]] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""ISO 216 and ANSI/ASME Y14.1."""

MARGIN_MM = 14.0
LEAST_PT = 6.5
"""Nothing that may be shortened is set in smaller letters than these."""

_LEADING = 1.28


@dataclass(frozen=True, slots=True)
class Box:
    """Where something was put: left, top, right, bottom in mm from the upper left corner."""

    left: float
    top: float
    right: float
    bottom: float
    what: str


@dataclass(eq=False)
class Page:
    """One page: what to draw, and where it lies."""

    ops: list[tuple[Callable[[Any], None], Element | None]] = field(default_factory=list)
    """What draws, and the element that it belongs to; None: an artifact."""

    boxes: list[Box] = field(default_factory=list)
    end: float = 0.0
    """Where its body ended when the next page was begun, mm."""


class Pages(Outline):
    """A growing document.

    Parameters
    ----------
    paper : {'A4', 'Letter'}
    top_mm : float
        Where the body of a page begins, below what every page carries.
    """

    def __init__(self, paper: PaperName, *, top_mm: float) -> None:
        super().__init__()
        self.width, self.height = SIZES_MM[paper]
        self.left, self.right = MARGIN_MM, self.width - MARGIN_MM
        self.top, self.bottom = top_mm, self.height - MARGIN_MM - 5.0
        self.pages: list[Page] = []
        self.y = 0.0
        self._at: Page | None = None

    @property
    def inner(self) -> float:
        """Width between the margins, mm."""
        return self.right - self.left

    def new_page(self) -> None:
        """Begin a page."""
        if self.pages:
            self.pages[-1].end = self.y
        self.pages.append(Page())
        self.y = self.top

    def ensure(self, height_mm: float) -> bool:
        """Begin a page unless there is room; True where one was begun."""
        if self.y + height_mm <= self.bottom:
            return False
        self.new_page()
        return True

    @contextmanager
    def at_foot_of_earlier(self, height_mm: float) -> Iterator[bool]:
        """What is drawn within stands at the foot of the last earlier page that has room for it.

        Parameters
        ----------
        height_mm : float

        Yields
        ------
        bool
            False where no page has room: then nothing is changed.
        """
        free = [page for page in self.pages[:-1] if page.end + height_mm <= self.bottom]
        if not free:
            yield False
            return
        here, self._at, self.y = self.y, free[-1], free[-1].end
        try:
            yield True
        finally:
            free[-1].end, self.y, self._at = self.y, here, None

    def text(
        self, x: float, y: float, text: str, *, size: float = 9.0, face: Face = "plain",
        width: float | None = None, align: Literal["left", "right", "middle"] = "left",
        colour: Colour = BLACK, whole: bool = False,
    ) -> float:  # fmt: skip
        """One line with its baseline at y, made smaller where it must fit a width; its width.

        Where the smallest letters are still too wide its middle is left out on paper; a reader
        that speaks gets all of it.

        Parameters
        ----------
        x : float
            mm from the left edge of the page.
        y : float
            mm from the upper edge of the page.
        text : str
        size : float, optional
            Of the letters, points.
        face : Face, optional
        width : float or None
            mm; a longer text is made narrower.
        align : {'left', 'right', 'middle'}, optional
        colour : Colour, optional
        whole : bool, optional
            True for what tells whose it is: never shortened, however small it becomes.
        """
        text = f"{text}"  # a figure takes the decimal sign of the language
        least = 0.0 if whole else LEAST_PT
        setting = (
            set_text(text, size_pt=size, face=face)
            if width is None
            else fitted(text, width * mm, size_pt=size, face=face, least_pt=least)
        )
        owner = self.own_element()
        if "…" in setting.text and "…" not in text and owner is not None and not owner.actual:
            owner.actual = text
        shift = {"left": 0.0, "right": 1.0, "middle": 0.5}[align] * setting.width_pt / mm
        self._set(setting, x - shift, y, colour, owner)
        return float(setting.width_pt / mm)

    def block(
        self, x: float, y: float, width: float, text: str, *, size: float = 9.0,
        face: Face = "plain", colour: Colour = BLACK,
    ) -> float:  # fmt: skip
        """Wrapped lines from a top edge; the y below them.

        Parameters
        ----------
        x : float
            mm from the left edge of the page.
        y : float
            mm from the upper edge of the page.
        width : float
            mm.
        text : str
        size : float, optional
            Of the letters, points.
        face : Face, optional
        colour : Colour, optional
        """
        step = size / mm * _LEADING
        owner = self.own_element()
        lines = wrapped(text, width * mm, size_pt=size, face=face)
        if owner is not None and len(lines) > 1 and not owner.actual:
            owner.actual = text
        for setting in lines:
            self._set(setting, x, y + step * 0.78, colour, owner)
            y += step
        return y

    def height_of(
        self, width: float, text: str, *, size: float = 9.0, face: Face = "plain"
    ) -> float:
        """Height of a block, mm.

        Parameters
        ----------
        width : float
            mm.
        text : str
        size : float, optional
            Of the letters, points.
        face : Face, optional
        """
        lines = len(wrapped(text, width * mm, size_pt=size, face=face))
        return float(lines * size / mm * _LEADING)

    def width_of(self, text: str, *, size: float = 9.0, face: Face = "plain") -> float:
        """Width of one line of text, mm.

        Parameters
        ----------
        text : str
        size : float, optional
            Of the letters, points.
        face : Face, optional
        """
        return float(set_text(text, size_pt=size, face=face).width_pt / mm)

    def line(
        self, x0: float, y0: float, x1: float, y1: float, *, width: float = 0.15,
        colour: Colour = BLACK, dash: tuple[float, ...] = (),
    ) -> None:  # fmt: skip
        """A straight line of a width in mm.

        Parameters
        ----------
        x0 : float
            mm.
        y0 : float
            mm.
        x1 : float
            mm.
        y1 : float
            mm.
        width : float, optional
            mm.
        colour : Colour, optional
        dash : tuple of float, mm, optional
        """

        def draw(canvas: Any) -> None:
            canvas.setLineWidth(width * mm)
            canvas.setStrokeColorRGB(*colour)
            canvas.setDash([d * mm for d in dash])
            canvas.setLineCap(0)
            canvas.line(x0 * mm, self._up(y0), x1 * mm, self._up(y1))
            canvas.setDash()

        box = Box(min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1), "line")
        self._put(draw, box, self.figure())

    def rect(
        self, x: float, y: float, width: float, height: float, *, fill: Colour | None = None,
        edge: float = 0.15, colour: Colour = BLACK,
    ) -> None:  # fmt: skip
        """A rectangle from its upper left corner; no edge where its width is 0.

        Parameters
        ----------
        x : float
            mm from the left edge of the page.
        y : float
            mm from the upper edge of the page.
        width : float
            mm.
        height : float
            mm.
        fill : Colour or None
        edge : float, optional
            Width of its edge, mm.
        colour : Colour, optional
        """

        def draw(canvas: Any) -> None:
            canvas.setLineWidth(edge * mm)
            canvas.setStrokeColorRGB(*colour)
            canvas.setFillColorRGB(*(fill or WHITE))
            canvas.rect(
                x * mm, self._up(y + height), width * mm, height * mm,
                stroke=int(edge > 0), fill=int(fill is not None),
            )  # fmt: skip

        self._put(draw, Box(x, y, x + width, y + height, "line"), self.figure())

    def chart(self, chart: Chart, x: float, y: float, *, scale: float = 1.0) -> tuple[float, float]:
        """A chart from its upper left corner; its width and height on the page.

        Parameters
        ----------
        chart : Chart
        x : float
            mm from the left edge of the page.
        y : float
            mm from the upper edge of the page.
        scale : float, optional
        """
        width, height = (side * scale for side in chart.size_mm)

        def draw(canvas: Any) -> None:
            bottom = self.height - y - height
            draw_chart(canvas, chart, x_mm=x, y_mm=bottom, scale=scale)

        box = Box(x, y, x + width, y + height, f"chart {chart.title}")
        owner = self.figure()
        if owner is None and self.is_content:
            with self.element("Figure", alt=alternative(chart, scale)) as figure:
                self._put(draw, box, figure)
        else:
            self._put(draw, box, owner)
        return width, height

    def draw(self, operation: Callable[[Any, Callable[[float], float]], None], box: Box) -> None:
        """Something else; the operation gets the canvas and a function from y to points."""
        self._put(lambda canvas: operation(canvas, self._up), box, self.figure())

    def render(self, frame: Callable[[Pages, int, int], None], facts: Facts) -> bytes:
        """Draw all pages, with what every page carries, and return the PDF.

        Parameters
        ----------
        frame : callable
            Draws the frame of a page, given its number and how many there are.
        facts : Facts
            What the document says of itself.
        """
        count = len(self.pages)
        bodies = self.pages
        buffer = io.BytesIO()
        canvas = Canvas(
            buffer, pagesize=(self.width * mm, self.height * mm), invariant=1, pdfVersion=(1, 7),
            initialFontName=registered("plain"),
        )  # fmt: skip
        canvas.setViewerPreference("PrintScaling", "None")  # true size by default
        canvas.setViewerPreference("DisplayDocTitle", "true")
        for number, body in enumerate(bodies, start=1):
            self.pages = [body]
            self._frame(frame, number, count)
            _draw(canvas, body, number - 1)
        self.pages = bodies
        document = canvas._doc  # noqa: SLF001 - reportlab has no public way to the catalogue
        add_structure(document, self.root, count)
        make_lasting(document, facts)
        canvas.save()
        return with_clean_streams(buffer.getvalue())

    def _frame(self, frame: Callable[[Pages, int, int], None], number: int, count: int) -> None:
        """What every page carries: read out once, on the first page, before all else."""
        if number > 1:
            with self.artifact():
                frame(self, number, count)
            return
        body = list(self.root.children)
        self.root.children.clear()
        frame(self, number, count)
        self.root.children += body

    def _set(
        self, setting: Setting, x: float, y: float, colour: Colour, owner: Element | None
    ) -> None:
        size = setting.size_pt / mm
        box = Box(x, y - 0.75 * size, x + setting.width_pt / mm, y + 0.22 * size, setting.text)
        self._put(lambda canvas: setting.draw(canvas, x * mm, self._up(y), colour), box, owner)

    def _put(self, operation: Callable[[Any], None], box: Box, owner: Element | None) -> None:
        page = self._at or self.pages[-1]
        page.ops.append((operation, owner))
        page.boxes.append(box)

    def _up(self, y: float) -> float:
        """From mm below the top to points above the bottom."""
        return float((self.height - y) * mm)


def _draw(canvas: Any, page: Page, number: int) -> None:
    """Draw a page, each run of operations of one element as a piece of marked content."""
    mcid = 0
    for owner, run in groupby(page.ops, key=lambda op: op[1]):
        if owner is None:
            canvas.addLiteral("/Artifact BMC")
        else:
            canvas.addLiteral(f"/{owner.kind} <</MCID {mcid}>> BDC")
            owner.children.append((number, mcid))
            mcid += 1
        for operation, _ in run:
            operation(canvas)
        canvas.addLiteral("EMC")
    canvas.showPage()
    drawn = canvas._doc.Pages.pages[-1]  # noqa: SLF001 - as above
    drawn.__NoDefault__ = [*drawn.__NoDefault__, "StructParents", "Tabs"]
    drawn.StructParents, drawn.Tabs = number, "/S"
