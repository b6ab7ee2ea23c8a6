"""An invisible font: characters that a reader extracts below text that is drawn as outlines.

One code stands for one cluster of characters; a ToUnicode table (PDF 32000-1, 9.10.3) says which.
Its glyph is a box as large as the type, never painted: readers skip characters without extent.
No code stands for the glyph of missing characters, which a lasting PDF must not use.
"""

from __future__ import annotations

import io
from typing import Any

from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen
from reportlab.pdfbase import pdfdoc

_NAME = "Invisible"
_WIDTH = 1000


class InvisibleFont:
    """The invisible font of one document; it grows with the clusters that are laid.

    Parameters
    ----------
    document : reportlab.pdfbase.pdfdoc.PDFDocument
    """

    def __init__(self, document: Any) -> None:
        self._codes: dict[str, int] = {}
        document.fontMapping[_NAME] = _NAME
        document.delayedFonts.append(self)

    @classmethod
    def of(cls, canvas: Any) -> InvisibleFont:
        """The invisible font of the document that a canvas writes."""
        document = canvas._doc  # noqa: SLF001 - reportlab has no public way to a font of one's own
        found = next((f for f in document.delayedFonts if isinstance(f, cls)), None)
        return cls(document) if found is None else found

    def lay(
        self, canvas: Any, text: str, *, x_pt: float, y_pt: float, width_pt: float, size_pt: float
    ) -> None:
        """Lay one cluster over a width of the line (text rendering mode 3: invisible).

        Parameters
        ----------
        canvas : canvas of the PDF
        text : str
        x_pt : float
            Points from the left.
        y_pt : float
            Points from below.
        width_pt : float
            Points.
        size_pt : float
            Of the letters, points.
        """
        code = self._codes.setdefault(text, len(self._codes) + 1)
        stretch = 100.0 * max(width_pt, 0.01) / size_pt
        canvas.addLiteral(
            f"BT /{_NAME} {size_pt:.4f} Tf 3 Tr {stretch:.4f} Tz "
            f"1 0 0 1 {x_pt:.4f} {y_pt:.4f} Tm <{code:04X}> Tj 0 Tr 100 Tz ET"
        )

    def addObjects(self, document: Any) -> None:  # noqa: N802
        """Write the font's objects; called by reportlab when the document is saved."""
        file = pdfdoc.PDFStream(content=_box_font())
        descriptor = pdfdoc.PDFDictionary(
            {
                "Type": "/FontDescriptor",
                "FontName": f"/{_NAME}",
                "Flags": 4,
                "FontBBox": pdfdoc.PDFArray([0, -200, _WIDTH, 800]),
                "ItalicAngle": 0,
                "Ascent": 800,
                "Descent": -200,
                "CapHeight": 700,
                "StemV": 80,
                "FontFile2": document.Reference(file, "invisible:file"),
            }
        )
        count = len(self._codes) + 1
        map_to_box = pdfdoc.PDFStream(content=b"\x00\x01" * count)
        descendant = pdfdoc.PDFDictionary(
            {
                "Type": "/Font",
                "Subtype": "/CIDFontType2",
                "BaseFont": f"/{_NAME}",
                "CIDSystemInfo": pdfdoc.PDFDictionary(
                    {
                        "Registry": pdfdoc.PDFString("Adobe"),
                        "Ordering": pdfdoc.PDFString("Identity"),
                        "Supplement": 0,
                    }
                ),
                "FontDescriptor": document.Reference(descriptor, "invisible:descriptor"),
                "DW": _WIDTH,
                "CIDToGIDMap": document.Reference(map_to_box, "invisible:glyphs"),
            }
        )
        table = pdfdoc.PDFStream(content=self._to_unicode())
        font = pdfdoc.PDFDictionary(
            {
                "Type": "/Font",
                "Subtype": "/Type0",
                "BaseFont": f"/{_NAME}",
                "Encoding": "/Identity-H",
                "DescendantFonts": pdfdoc.PDFArray(
                    [document.Reference(descendant, "invisible:descendant")]
                ),
                "ToUnicode": document.Reference(table, "invisible:unicode"),
            }
        )
        document.idToObject["BasicFonts"].dict[_NAME] = document.Reference(font, "invisible:font")

    def _to_unicode(self) -> bytes:
        rows = [
            f"<{code:04X}> <{text.encode('utf-16-be').hex().upper()}>"
            for text, code in self._codes.items()
        ]
        blocks = [
            f"{len(rows[i : i + 100])} beginbfchar\n" + "\n".join(rows[i : i + 100]) + "\nendbfchar"
            for i in range(0, len(rows), 100)
        ]
        return "\n".join(
            [
                "/CIDInit /ProcSet findresource begin",
                "12 dict begin begincmap",
                "/CIDSystemInfo << /Registry (Adobe) /Ordering (UCS) /Supplement 0 >> def",
                "/CMapName /Adobe-Identity-UCS def /CMapType 2 def",
                "1 begincodespacerange <0000> <FFFF> endcodespacerange",
                *blocks,
                "endcmap CMapName currentdict /CMap defineresource pop end end",
            ]
        ).encode("ascii")


def _box_font() -> bytes:
    builder = FontBuilder(unitsPerEm=1000, isTTF=True)
    builder.setupGlyphOrder([".notdef", "box"])
    builder.setupCharacterMap({})
    pen = TTGlyphPen(None)
    corners = ((0, -200), (0, 800), (_WIDTH, 800), (_WIDTH, -200))
    pen.moveTo(corners[0])
    for corner in corners[1:]:
        pen.lineTo(corner)
    pen.closePath()
    box = pen.glyph()
    builder.setupGlyf({".notdef": box, "box": box})
    builder.setupHorizontalMetrics({".notdef": (_WIDTH, 0), "box": (_WIDTH, 0)})
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": _NAME, "styleName": "Regular"})
    builder.setupOS2(sTypoAscender=800, sTypoDescender=-200)
    builder.setupPost()
    # A fixed date, so that the same sheet has the same bytes.
    builder.updateHead(created=0, modified=0)
    builder.font.recalcTimestamp = False
    out = io.BytesIO()
    builder.save(out)
    return out.getvalue()
