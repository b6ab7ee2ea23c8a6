"""Every PDF against PDF/A-2, level B (ISO 19005-2), and tagged PDF (ISO 32000-1, 14.7 and 14.8).

No validator of the standard is in a registry that can be reached here, so its clauses are checked
one by one with independent readers: pypdf for objects, fontTools for fonts, LittleCMS (through
Pillow) for the colour profile, qpdf for the file as a whole. Clause numbers stand beside each.
"""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from dataclasses import replace
from datetime import datetime
from functools import cache, partial
from xml.etree import ElementTree as ET

import numpy as np
import pypdf
import pytest
from fontTools.ttLib import TTFont
from PIL import Image, ImageCms
from pypdf.generic import ArrayObject, ContentStream, DictionaryObject, IndirectObject

from core.plans.history import sign
from core.plans.plan_dump import plan_fingerprint
from core.sheet.colour_profile import srgb_profile
from core.sheet.fonts_found import font_folders, machine_font
from core.sheet.lasting import with_clean_streams
from core.sheet.parts import PART, part_files
from core.sheet.pdf import sheet_pdf
from tests.core.sheet.test_drill_card import case as card_case
from tests.core.sheet.test_pages import ONE, VOLUME, case_with
from tests.sheet_material import MADE_AT, fixture_at, named, plan_with

RDF = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}"
DC = "{http://purl.org/dc/elements/1.1/}"
XMP = "{http://ns.adobe.com/xap/1.0/}"
PDF = "{http://ns.adobe.com/pdf/1.3/}"
PDFA = "{http://www.aiim.org/pdfa/ns/id/}"


def page_of(part):
    """The one page of a part; of a case that has depths, else there is no card."""
    ((_, pdf),) = part_files(part.id, card_case(fixture_at(20.0, "36")))
    return pdf


MADE = {
    "sheet": lambda: sheet_pdf(case_with(ONE), paper="A4"),
    "several": lambda: sheet_pdf(
        case_with(plan_with(fixture_at(15.0, "36"), fixture_at(60.0, "33"))), paper="Letter"
    ),
    "another script": lambda: sheet_pdf(
        case_with(ONE, named(VOLUME, patient_name="Cohen^Yosef=כהן^יוסף")), paper="A4"
    ),
    "signed": lambda: sheet_pdf(case_with(signed_plan()), paper="A4"),
} | {
    part.id: partial(page_of, part)
    for part in PART.values()
    if part.id != "sheet" and part.files[0].endswith(".pdf")
}


def signed_plan():
    plan = sign(ONE, name="Dr A Bell", role="dentist", at="2026-11-24T09:00:00+00:00")
    assert plan.sign_off.plan_fingerprint == plan_fingerprint(plan)
    return plan


@cache
def made(name):
    return MADE[name]()


@cache
def reader(name):
    return pypdf.PdfReader(io.BytesIO(made(name)))


@pytest.fixture(params=MADE)
def name(request):
    return request.param


def objects(name):
    """Every object of the file."""
    document = reader(name)
    for number in range(1, int(document.trailer["/Size"])):
        yield document.get_object(number)


# -- file ------------------------------------------------------------------------------------


def test_header_trailer_and_the_ends_of_streams(name):
    """6.1.2, 6.1.3, 6.1.7.1: header with a binary comment, an ID, no encryption, clean streams."""
    data = made(name)
    assert data.startswith(b"%PDF-1.7\n%")
    assert all(byte > 127 for byte in data.split(b"\n")[1][1:5])
    assert len(reader(name).trailer["/ID"]) == 2
    assert "/Encrypt" not in reader(name).trailer
    assert data.endswith(b"%%EOF\n")
    count = 0
    for found in re.finditer(rb"/Length (\d+)[^>]*>>\s*?\nstream\n", data):
        end = found.end() + int(found[1])
        assert data[end : end + 10] == b"\nendstream"
        count += 1
    assert count == len(re.findall(rb"\nendstream", data)) > 5


def test_a_stream_whose_length_is_wrong_is_not_passed_on(name):
    broken = re.sub(
        rb"/Length (\d+)", lambda m: b"/Length %d" % (int(m[1]) - 3), made(name), count=1
    )
    with pytest.raises(ValueError, match="does not lead to its end"):
        with_clean_streams(broken)


def test_qpdf_finds_nothing(name, tmp_path):
    program = shutil.which("qpdf")
    assert program, "qpdf is one of the programs of app/setup.sh test"
    path = tmp_path / "a.pdf"
    path.write_bytes(made(name))
    run = subprocess.run([program, "--check", path], capture_output=True, text=True, timeout=120,
                         check=False)  # fmt: skip
    assert run.returncode == 0, run.stdout + run.stderr
    assert "No syntax or stream encoding errors found" in run.stdout


def test_nothing_that_runs_is_fetched_or_hidden(name):
    """6.1.7.2, 6.1.10, 6.2.9, 6.4, 6.5, 6.6.1, 6.9: no scripts, actions, files, layers, masks."""
    forbidden = {"/JS", "/JavaScript", "/AA", "/OpenAction", "/Launch", "/EmbeddedFiles",
                 "/AcroForm",
                 "/OCProperties", "/Annots", "/SMask", "/OPI", "/PS", "/Ref", "/TR", "/HTP", "/XFA",
                 "/Alternates", "/Perms", "/RichMedia"}  # fmt: skip
    for thing in objects(name):
        if not isinstance(thing, DictionaryObject):
            continue
        assert not forbidden & set(thing), set(thing)
        filters = thing.get("/Filter", [])
        filters = filters if isinstance(filters, ArrayObject) else [filters]
        assert not {"/LZWDecode", "/Crypt"} & {str(f) for f in filters}
        if "/Length" in thing:
            assert not {"/F", "/FFilter", "/FDecodeParms"} & set(thing)
        if thing.get("/Subtype") == "/Image":
            assert not thing.get("/Interpolate", False)
            assert thing["/ColorSpace"] in ("/DeviceGray", "/DeviceRGB")


# -- colours ---------------------------------------------------------------------------------


def test_colours_have_a_profile(name):
    """6.2.3: an output intent with an embedded ICC profile of the colours that are used."""
    (intent,) = reader(name).root_object["/OutputIntents"]
    intent = intent.get_object()
    assert (intent["/S"], intent["/Type"]) == ("/GTS_PDFA1", "/OutputIntent")
    profile = intent["/DestOutputProfile"].get_object()
    assert profile["/N"] == 3
    assert profile.get_data() == srgb_profile()
    for page in reader(name).pages:
        operators = {op for _, op in ContentStream(page.get_contents(), reader(name)).operations}
        assert not operators & {b"k", b"K", b"cs", b"CS", b"sh", b"gs", b"BI"}


def test_the_profile_is_srgb():
    """Against LittleCMS' own sRGB: every grey and a cube of colours within one step of 255."""
    own = ImageCms.ImageCmsProfile(io.BytesIO(srgb_profile()))
    assert own.profile.xcolor_space.strip() == "RGB"
    assert own.profile.version == pytest.approx(2.1)
    steps = np.arange(0, 256, 17, dtype=np.uint8)
    cube = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(-1, 16, 3)
    change = ImageCms.buildTransform(own, ImageCms.createProfile("sRGB"), "RGB", "RGB")
    seen = np.asarray(ImageCms.applyTransform(Image.fromarray(cube), change), dtype=int)
    assert np.abs(seen - cube).max() <= 1


# -- metadata --------------------------------------------------------------------------------


def packet(name):
    stream = reader(name).root_object["/Metadata"].get_object()
    assert "/Filter" not in stream  # 6.6.2.1
    assert (stream["/Type"], stream["/Subtype"]) == ("/Metadata", "/XML")
    text = stream.get_data().decode("utf-8")
    assert text.startswith("<?xpacket begin=")
    return next(iter(ET.fromstring(text.encode("utf-8")).iter(f"{RDF}Description")))


def told(description, tag):
    found = description.find(tag)
    if found is None:
        return None
    return "".join(found.itertext()).strip()


def test_metadata_names_the_level_and_agrees_with_the_information(name):
    """6.6.2, 6.6.4: PDF/A-2B, and the same title, subject, author, program and dates."""
    xmp, info = packet(name), reader(name).metadata
    assert (told(xmp, f"{PDFA}part"), told(xmp, f"{PDFA}conformance")) == ("2", "B")
    assert told(xmp, f"{DC}title") == info["/Title"]
    assert told(xmp, f"{DC}description") == info["/Subject"]
    assert told(xmp, f"{DC}creator") == info.get("/Author")
    assert told(xmp, f"{PDF}Producer") == info["/Producer"]
    assert told(xmp, f"{XMP}CreatorTool") == info["/Creator"]
    assert set(info) <= {"/Title", "/Subject", "/Author", "/Producer", "/Creator",
                         "/CreationDate", "/ModDate"}  # fmt: skip
    for tag, key in (("CreateDate", "/CreationDate"), ("ModifyDate", "/ModDate")):
        at = datetime.fromisoformat(told(xmp, f"{XMP}{tag}"))
        assert at == datetime.fromisoformat(MADE_AT)
        assert info[key] == f"D:{at:%Y%m%d%H%M%S}+00'00'"


def test_the_author_is_who_signed_and_nobody_else():
    assert reader("signed").metadata["/Author"] == "Dr A Bell"
    assert "/Author" not in reader("sheet").metadata
    voided = case_with(replace(signed_plan(), depth_from="gum"))
    assert "/Author" not in pypdf.PdfReader(io.BytesIO(sheet_pdf(voided, paper="A4"))).metadata


# -- fonts -----------------------------------------------------------------------------------


def fonts(name):
    for page in reader(name).pages:
        for key, font in page["/Resources"]["/Font"].items():
            yield page, key, font.get_object()


def test_every_font_is_inside_and_shows_no_missing_glyph(name):
    """6.2.11.4, 6.2.11.5, 6.2.11.6, 6.2.11.8."""
    for page, key, font in fonts(name):
        lowest = font
        if font["/Subtype"] == "/Type0":
            lowest = font["/DescendantFonts"][0].get_object()
            assert (font["/Encoding"], lowest["/Subtype"]) == ("/Identity-H", "/CIDFontType2")
        else:
            assert font["/Subtype"] == "/TrueType"
            assert font["/FontDescriptor"]["/Flags"] & 4
            assert "/Encoding" not in font  # a symbolic TrueType font has none
        inside = TTFont(io.BytesIO(lowest["/FontDescriptor"]["/FontFile2"].get_data()))
        for codes in shown(page, key):
            if font["/Subtype"] == "/Type0":
                places = lowest["/CIDToGIDMap"].get_object().get_data()
                pairs = np.frombuffer(codes, dtype=">u2")
                assert np.frombuffer(places, dtype=">u2")[pairs].all()
                continue
            (table,) = inside["cmap"].tables
            widths, first = font["/Widths"], font["/FirstChar"]
            for code in codes:
                glyph = table.cmap[code]
                assert inside.getGlyphID(glyph) != 0
                own = inside["hmtx"][glyph][0] * 1000 / inside["head"].unitsPerEm
                assert abs(float(widths[code - first]) - own) <= 1.0


@pytest.mark.skipif(
    machine_font("כהן", font_folders()) is None, reason="this machine has no font for Hebrew"
)
def test_outlines_of_another_script_have_characters_under_them():
    assert any(font["/Subtype"] == "/Type0" for _, _, font in fonts("another script"))
    text = reader("another script").pages[0].extract_text()
    assert "כהן" in text or "ןהכ" in text


def shown(page, key):
    """Bytes of each string that a page shows in a font."""
    now = None
    for operands, operator in ContentStream(page.get_contents(), page.pdf).operations:
        if operator == b"Tf":
            now = operands[0]
        elif operator == b"Tj" and now == key:
            text = operands[0]
            yield text.original_bytes if isinstance(text, str) else bytes(text)


# -- structure -------------------------------------------------------------------------------


def elements(name):
    """Every element with its parent's kind, in reading order."""
    root = reader(name).root_object["/StructTreeRoot"]

    def below(node, parent):
        for listed in node["/K"]:
            kid = listed.get_object() if isinstance(listed, IndirectObject) else listed
            if isinstance(kid, DictionaryObject) and "/S" in kid:
                yield kid, parent
                yield from below(kid, str(kid["/S"]))

    yield from below(root, "root")


def test_the_document_is_tagged_and_names_its_language(name):
    catalog = reader(name).root_object
    assert catalog["/MarkInfo"]["/Marked"]
    assert catalog["/Lang"] == "en"
    assert catalog["/ViewerPreferences"]["/DisplayDocTitle"]
    kinds = [str(e["/S"]) for e, _ in elements(name)]
    assert kinds[0] == "/Document"
    assert kinds.count("/Document") == 1


PAINTING = {b"Tj", b"TJ", b"f", b"f*", b"F", b"S", b"s", b"B", b"B*", b"b", b"Do"}


def content_of(name):
    """(page, mcid) → the one element that it belongs to."""
    places = {}
    for element, _ in elements(name):
        for kid in element["/K"]:
            if isinstance(kid, int):
                place = (element["/Pg"].indirect_reference.idnum, kid)
            elif isinstance(kid, DictionaryObject) and kid.get("/Type") == "/MCR":
                place = (kid["/Pg"].indirect_reference.idnum, kid["/MCID"])
            else:
                continue
            assert place not in places
            places[place] = element
    return places


def test_everything_drawn_is_content_of_one_element_or_an_artifact(name):
    """14.7.4 and 14.8.2.2: each piece of marked content once in the tree, and back again."""
    document = reader(name)
    places = content_of(name)
    parents = document.root_object["/StructTreeRoot"]["/ParentTree"]["/Nums"]
    seen = 0
    for number, page in enumerate(document.pages):
        assert page["/StructParents"] == number
        assert page["/Tabs"] == "/S"
        owners = parents[2 * number + 1].get_object()
        open_now = []
        for operands, operator in ContentStream(page.get_contents(), document).operations:
            if operator == b"BDC":
                mcid = operands[1]["/MCID"]
                owner = places[page.indirect_reference.idnum, mcid]
                assert owners[mcid].get_object() == owner
                assert owner["/S"] == operands[0]
                open_now.append(mcid)
                seen += 1
            elif operator == b"BMC":
                assert operands == ["/Artifact"]
                open_now.append(None)
            elif operator == b"EMC":
                open_now.pop()
            elif operator in PAINTING:
                assert len(open_now) == 1, operator
        assert open_now == []
        assert len(owners) == sum(
            1 for place in places if place[0] == page.indirect_reference.idnum
        )
    assert seen == len(places) > 5


def test_pictures_have_words_and_tables_are_tables(name):
    for element, parent in elements(name):
        kind = str(element["/S"])
        assert kind in {"/Document", "/H1", "/H2", "/P", "/Figure", "/Table", "/TR", "/TH", "/TD"}
        if kind == "/Figure":
            assert len(str(element["/Alt"])) > 20
        if kind == "/TR":
            assert parent == "/Table"
        if kind in ("/TH", "/TD"):
            assert parent == "/TR"
        if kind == "/TH":
            assert element["/A"]["/Scope"] == "/Column"


def test_the_sheet_reads_who_then_which_tooth_then_what_is_open():
    kinds = [str(e["/S"]) for e, _ in elements("sheet")]
    assert kinds.count("/Figure") >= 8
    assert kinds.count("/Table") >= 1
    assert kinds.count("/TH") >= 8
    assert kinds.index("/H1") < kinds.index("/Figure") < kinds.index("/H2") < kinds.index("/Table")
    figures = [str(e["/Alt"]) for e, _ in elements("sheet") if e["/S"] == "/Figure"]
    assert figures[0] == (
        "Teeth of the lower jaw, seen from below. Planned: 36, lower left first molar (19 in 1–32)."
    )
    assert figures[1].startswith("Buccolingual plane through the axis, 1 : 1.")
    assert "Lingual · R on the left" in figures[1]
    whole = [str(e["/ActualText"]) for e, _ in elements("sheet") if "/ActualText" in e]
    assert any(words.startswith("This program has not been assessed") for words in whole)


def test_a_row_of_the_table_has_as_many_cells_as_the_head():
    rows = {}
    for element, _ in elements("sheet"):
        if element["/S"] == "/TR":
            kids = [k.get_object() for k in element["/K"]]
            rows.setdefault(element["/P"].indirect_reference.idnum, []).append(len(kids))
    table = max(rows.values(), key=len)
    assert table[0] == 8
    assert {n for n in table if n > 1} == {8}
