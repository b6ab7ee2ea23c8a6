"""Pages of a PDF as pictures and text. The one place that enters the PDF library, one at a time.

PDFium keeps state of its own for the whole process: two threads in it at once, even with two
documents, end the program (https://pypdfium2.readthedocs.io, "Thread incompatibility").
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

import pypdfium2

if TYPE_CHECKING:
    from PIL.Image import Image

POINTS_PER_INCH = 72.0

_ONE_THREAD_INSIDE = threading.Lock()


def page_count(pdf: bytes) -> int:
    """Number of pages."""
    with _ONE_THREAD_INSIDE:
        document = pypdfium2.PdfDocument(pdf)
        try:
            return len(document)
        finally:
            document.close()


def page_picture(pdf: bytes, number: int, *, dpi: float) -> Image:
    """One page, of its true size at a resolution.

    Parameters
    ----------
    pdf : bytes
    number : int
        From 0.
    dpi : float

    Returns
    -------
    PIL image, RGB, holding pixels of its own
    """
    with _ONE_THREAD_INSIDE:
        document = pypdfium2.PdfDocument(pdf)
        try:
            page = document[number]
            bitmap = page.render(scale=dpi / POINTS_PER_INCH)
            picture: Image = bitmap.to_pil().convert("RGB").copy()
            # Closed here: left to the collector they would enter the library from any thread.
            bitmap.close()
            page.close()
            return picture
        finally:
            document.close()


def page_texts(pdf: bytes) -> list[str]:
    """The text of every page, and what the document says of itself (title, author, dates)."""
    with _ONE_THREAD_INSIDE:
        document = pypdfium2.PdfDocument(pdf)
        try:
            found = [str(value) for value in document.get_metadata_dict().values()]
            for number in range(len(document)):
                page = document[number]
                text = page.get_textpage()
                found.append(text.get_text_range())
                text.close()
                page.close()
            return found
        finally:
            document.close()
