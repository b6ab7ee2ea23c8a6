"""What makes a PDF last: metadata, colour profile, true dates, and clean ends of its streams.

PDF/A-2, level B (ISO 19005-2): fonts inside, colours with a profile, metadata as XMP that agrees
with the information dictionary, nothing that is fetched or run. The dates are those of the
measuring, as they stand on the pages; where a file must not tell a moment, its ledger tells none.
"""

from __future__ import annotations

import re
import zlib
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from xml.sax.saxutils import escape

from reportlab.pdfbase import pdfdoc

from core.sheet.colour_profile import NAME, srgb_profile
from core.version import PROGRAM

_NO_DATE = datetime(2000, 1, 1, tzinfo=UTC)
"""Of a document whose making must not be told."""

_LENGTH = re.compile(rb"/Length (\d+)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What a document says of itself.

    Parameters
    ----------
    title : str
        Names no patient: file managers and printers show it to anybody.
    subject : str
    author : str
        Who signed; empty: nobody.
    made_at : str
        ISO 8601.
    language : str
        BCP 47; empty where a translation of unknown language stands on the pages.
    """

    title: str
    subject: str = ""
    author: str = ""
    made_at: str = ""
    language: str = "en"

    @property
    def moment(self) -> datetime:
        """`made_at` with its zone."""
        try:
            at = datetime.fromisoformat(self.made_at)
        except ValueError:
            return _NO_DATE
        return at if at.tzinfo is not None else at.replace(tzinfo=UTC)


class _Info(pdfdoc.PDFInfo):  # type: ignore[misc]
    """The information dictionary, with the entries that the metadata has, and no others."""

    def __init__(self, facts: Facts) -> None:
        super().__init__()
        self._facts = facts
        self.title, self.author = facts.title, facts.author
        self.subject, self.keywords = facts.subject, ""

    def format(self, document: Any) -> Any:
        """Called by reportlab when the document is saved."""
        facts = self._facts
        entries = {
            "Title": pdfdoc.PDFString(facts.title),
            "Producer": pdfdoc.PDFString(PROGRAM),
            "Creator": pdfdoc.PDFString(PROGRAM),
            "CreationDate": pdfdoc.PDFString(_pdf_date(facts.moment)),
            "ModDate": pdfdoc.PDFString(_pdf_date(facts.moment)),
        }
        if facts.subject:
            entries["Subject"] = pdfdoc.PDFString(facts.subject)
        if facts.author:
            entries["Author"] = pdfdoc.PDFString(facts.author)
        return pdfdoc.PDFDictionary(entries).format(document)


def make_lasting(document: Any, facts: Facts) -> None:
    """Add metadata, output intent and language to a reportlab document before it is saved.

    Parameters
    ----------
    document : reportlab.pdfbase.pdfdoc.PDFDocument
    facts : Facts
    """
    document.info = _Info(facts)
    metadata = pdfdoc.PDFStream(content=xmp(facts).encode("utf-8"))
    metadata.dictionary["Type"] = pdfdoc.PDFName("Metadata")
    metadata.dictionary["Subtype"] = pdfdoc.PDFName("XML")
    profile = pdfdoc.PDFStream(content=zlib.compress(srgb_profile(), 9))
    profile.dictionary["N"] = 3
    profile.dictionary["Filter"] = pdfdoc.PDFName("FlateDecode")
    intent = pdfdoc.PDFDictionary(
        {
            "Type": "/OutputIntent",
            "S": "/GTS_PDFA1",
            "OutputConditionIdentifier": pdfdoc.PDFString(NAME),
            "Info": pdfdoc.PDFString(NAME),
            "DestOutputProfile": document.Reference(profile, "lasting:profile"),
        }
    )
    catalog = document.Catalog
    catalog.Metadata = metadata
    catalog.__NoDefault__ = [*catalog.__NoDefault__, "OutputIntents"]
    catalog.OutputIntents = pdfdoc.PDFArray([intent])
    if facts.language:
        catalog.Lang = pdfdoc.PDFString(facts.language)


def xmp(facts: Facts) -> str:
    """The XMP packet: the same facts as the information dictionary, and the level of PDF/A."""
    moment = facts.moment.isoformat(timespec="seconds")
    author = subject = ""
    if facts.author:
        named = escape(facts.author)
        author = f"<dc:creator><rdf:Seq><rdf:li>{named}</rdf:li></rdf:Seq></dc:creator>"
    if facts.subject:
        told = escape(facts.subject)
        subject = (
            f'<dc:description><rdf:Alt><rdf:li xml:lang="x-default">{told}</rdf:li></rdf:Alt>'
            "</dc:description>"
        )
    program = escape(PROGRAM)
    return (
        '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>\n'
        '<x:xmpmeta xmlns:x="adobe:ns:meta/">\n'
        '<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">\n'
        '<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/" '
        'xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmlns:pdf="http://ns.adobe.com/pdf/1.3/" '
        'xmlns:pdfaid="http://www.aiim.org/pdfa/ns/id/">\n'
        "<pdfaid:part>2</pdfaid:part><pdfaid:conformance>B</pdfaid:conformance>\n"
        "<dc:format>application/pdf</dc:format>\n"
        f'<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{escape(facts.title)}</rdf:li></rdf:Alt>'
        f"</dc:title>{author}{subject}\n"
        f"<xmp:CreatorTool>{program}</xmp:CreatorTool>"
        f"<xmp:CreateDate>{moment}</xmp:CreateDate><xmp:ModifyDate>{moment}</xmp:ModifyDate>"
        f"<xmp:MetadataDate>{moment}</xmp:MetadataDate>\n"
        f"<pdf:Producer>{program}</pdf:Producer>\n"
        "</rdf:Description>\n</rdf:RDF>\n</x:xmpmeta>\n"
        '<?xpacket end="w"?>'
    )


def _pdf_date(at: datetime) -> str:
    zone = at.strftime("%z") or "+0000"
    return f"D:{at:%Y%m%d%H%M%S}{zone[:3]}'{zone[3:5]}'"


def with_clean_streams(data: bytes) -> bytes:
    """A PDF as reportlab wrote it, with a line end before each ``endstream``.

    ISO 19005-2, 6.1.7.1 asks for it and for lengths that do not count it; reportlab writes none.
    The objects stay as they are; the table of their places is made anew.
    """
    table = int(data[data.rindex(b"startxref") + 9 :].split()[0])
    lines = data[table:].split(b"\n")
    first, count = (int(n) for n in lines[1].split())
    places = [int(line.split()[0]) for line in lines[2 : 2 + count]][1:]
    if first != 0:
        raise ValueError("one table of all objects is expected")
    ends = [*sorted(places)[1:], table]
    until = dict(zip(sorted(places), ends, strict=True))
    out = bytearray(data[: min(places)])
    moved: list[int] = []
    for place in places:
        moved.append(len(out))
        out += _clean(data[place : until[place]])
    start = len(out)
    out += b"xref\n0 %d\n0000000000 65535 f \n" % count
    out += b"".join(b"%010d 00000 n \n" % place for place in moved)
    out += data[data.index(b"trailer", table) : data.rindex(b"startxref")]
    return bytes(out + b"startxref\n%d\n%%%%EOF\n" % start)


def _clean(thing: bytes) -> bytes:
    head, mark, rest = thing.partition(b"\nstream\n")
    found = _LENGTH.search(head)
    if not mark or found is None:
        return thing
    length = int(found[1])
    tail = rest[length:].lstrip(b"\r\n")
    if not tail.startswith(b"endstream"):
        raise ValueError("a stream whose length does not lead to its end")
    return head + mark + rest[:length] + b"\n" + tail
