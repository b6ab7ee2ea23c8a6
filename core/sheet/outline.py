"""What a reader that speaks is told: which element each drawing belongs to, pictures in words."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from core.drawing import Chart
from core.pictures.ink import WORDS
from core.sheet.structure import CONTAINERS, Element
from core.words.catalogue import say


class Outline:
    """A growing structure: what is drawn now belongs to the element that is open."""

    def __init__(self) -> None:
        self.root = Element("Document")
        self._open: list[Element | None] = [self.root]

    @property
    def is_content(self) -> bool:
        """False where what is drawn is an artifact."""
        return self._open[-1] is not None

    @contextmanager
    def element(self, kind: str, *, alt: str = "", header: bool = False) -> Iterator[Element]:
        """What is drawn within belongs to one element of the structure, or to those in it.

        Parameters
        ----------
        kind : str
            ``H1``, ``P``, ``Figure``; of `CONTAINERS` each text gets an element of its own.
        alt : str, optional
            What a picture shows, in words.
        header : bool, optional
            A row of heads of columns.
        """
        parent = self._open[-1]
        made = Element(kind, alt=alt, header=header)
        if parent is None:  # within what is no content nothing becomes content
            with self.artifact():
                yield made
            return
        parent.children.append(made)
        self._open.append(made)
        try:
            yield made
        finally:
            self._open.pop()

    @contextmanager
    def artifact(self) -> Iterator[None]:
        """What is drawn within is no content: rulers, frames, what every page repeats."""
        self._open.append(None)
        try:
            yield
        finally:
            self._open.pop()

    def blank(self) -> None:
        """A cell without content, so that the cells of all rows stand in their columns."""
        parent = self._open[-1]
        if parent is not None:
            parent.children.append(Element(parent.own_kind))

    def own_element(self) -> Element | None:
        """The element for a text: the open one, or in a container one of its own."""
        parent = self._open[-1]
        if parent is None or parent.kind not in CONTAINERS:
            return parent
        made = Element(parent.own_kind)
        parent.children.append(made)
        return made

    def figure(self) -> Element | None:
        """The element for a drawing: the open one, never one of its own."""
        parent = self._open[-1]
        return None if parent is None or parent.kind in CONTAINERS else parent


def alternative(chart: Chart, scale: float) -> str:
    """A picture in words: what it is, which side is where, what is drawn and which numbers.

    Parameters
    ----------
    chart : Chart
    scale : float
        On the page.
    """
    sides = chart.sides
    places = (
        say("sheet.picture.left", what=sides.left) if sides.left else "",
        say("sheet.picture.right", what=sides.right) if sides.right else "",
        say("sheet.picture.top", what=sides.top) if sides.top else "",
    )
    where = "; ".join(filter(None, places))
    drawn = ", ".join(str(WORDS[s]) for s in chart.styles if s in WORDS)
    labels = ", ".join(label.text for label in chart.labels)
    parts = [
        say("sheet.picture.title", title=chart.title, scale=float(scale)),
        chart.subtitle,
        where,
    ]
    parts += [say("sheet.picture.drawn", lines=drawn)] if drawn else []
    parts += [say("sheet.picture.labels", labels=labels)] if labels else []
    return ". ".join(part for part in parts if part) + "."
