"""The structure of a tagged PDF (ISO 32000-1, 14.7 and 14.8): what a screen reader reads aloud.

Elements stand in reading order. Everything that is drawn belongs to one of them, or is an
artifact: rules, frames, rulers and what every page repeats.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from reportlab.pdfbase import pdfdoc

CONTAINERS = ("Document", "Sect", "Table", "TR", "L")
"""Elements that hold others; text within gets an element of its own."""

_OWN = {"Document": "P", "Sect": "P", "Table": "Caption", "TR": "TD", "L": "LI"}


@dataclass(eq=False)
class Element:
    """One element of the structure.

    Parameters
    ----------
    kind : str
        A standard structure type: ``P``, ``H1``, ``Figure``, ``Table``, ``TR``, ``TD`` ...
    alt : str
        What a picture shows, in words.
    actual : str
        Its text where it is set in several lines, which a reader would join without a blank.
    header : bool
        Of a ``TR``: its cells are heads of columns.
    children : list of Element or (page, mcid)
    """

    kind: str
    alt: str = ""
    actual: str = ""
    header: bool = False
    children: list[Element | tuple[int, int]] = field(default_factory=list)

    @property
    def own_kind(self) -> str:
        """The element that a text gets in this one."""
        return "TH" if self.kind == "TR" and self.header else _OWN[self.kind]

    def every(self) -> Iterator[Element]:
        """The element itself and all below it, in reading order."""
        yield self
        for child in self.children:
            if isinstance(child, Element):
                yield from child.every()

    @property
    def is_empty(self) -> bool:
        """True where nothing was drawn in it; a cell may be empty."""
        if self.kind in ("TD", "TH"):
            return False
        return all(isinstance(c, Element) and c.is_empty for c in self.children)


def add_structure(document: Any, root: Element, pages: int) -> None:
    """Write the structure into a reportlab document whose pages are drawn.

    Parameters
    ----------
    document : reportlab.pdfbase.pdfdoc.PDFDocument
    root : Element
        The ``Document``.
    pages : int
        How many pages were drawn; page n is reportlab's ``Page{n + 1}``.
    """
    _prune(root)
    names = {id(e): f"struct:{n}" for n, e in enumerate(root.every())}
    owners: list[dict[int, Element]] = [{} for _ in range(pages)]
    _write(document, root, pdfdoc.PDFObjectReference("struct:root"), names, owners)
    numbers: list[Any] = []
    for page, owned in enumerate(owners):
        refs = [pdfdoc.PDFObjectReference(names[id(owned[n])]) for n in range(len(owned))]
        numbers += [page, pdfdoc.PDFArray(refs)]
    tree = pdfdoc.PDFDictionary({"Nums": pdfdoc.PDFArray(numbers)})
    top = pdfdoc.PDFDictionary(
        {
            "Type": "/StructTreeRoot",
            "K": pdfdoc.PDFArray([pdfdoc.PDFObjectReference(names[id(root)])]),
            "ParentTree": document.Reference(tree, "struct:parents"),
            "ParentTreeNextKey": pages,
        }
    )
    document.Catalog.StructTreeRoot = document.Reference(top, "struct:root")
    document.Catalog.MarkInfo = pdfdoc.PDFDictionary({"Marked": "true"})


def _prune(element: Element) -> None:
    element.children = [c for c in element.children if not (isinstance(c, Element) and c.is_empty)]
    for child in element.children:
        if isinstance(child, Element):
            _prune(child)


def _write(
    document: Any,
    element: Element,
    parent: Any,
    names: dict[int, str],
    owners: list[dict[int, Element]],
) -> None:
    me = pdfdoc.PDFObjectReference(names[id(element)])
    kids: list[Any] = []
    drawn_on = {c[0] for c in element.children if not isinstance(c, Element)}
    for child in element.children:
        if isinstance(child, Element):
            _write(document, child, me, names, owners)
            kids.append(pdfdoc.PDFObjectReference(names[id(child)]))
            continue
        page, mcid = child
        owners[page][mcid] = element
        kids.append(mcid if len(drawn_on) == 1 else _content(page, mcid))
    entries: dict[str, Any] = {
        "Type": "/StructElem", "S": f"/{element.kind}", "P": parent, "K": pdfdoc.PDFArray(kids),
    }  # fmt: skip
    if len(drawn_on) == 1:
        entries["Pg"] = _page(drawn_on.pop())
    if element.alt:
        entries["Alt"] = pdfdoc.PDFString(element.alt)
    if element.actual:
        entries["ActualText"] = pdfdoc.PDFString(element.actual)
    if element.kind == "TH":
        scope = {"O": "/Table", "Scope": "/Column"}
        entries["A"] = pdfdoc.PDFDictionary(scope)
    document.Reference(pdfdoc.PDFDictionary(entries), names[id(element)])


def _content(page: int, mcid: int) -> Any:
    return pdfdoc.PDFDictionary({"Type": "/MCR", "Pg": _page(page), "MCID": mcid})


def _page(number: int) -> Any:
    return pdfdoc.PDFObjectReference(f"Page{number + 1}")
