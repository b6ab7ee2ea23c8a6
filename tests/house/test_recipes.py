"""The recipes of DEVELOPERS.md, followed literally: what is added where they say works everywhere.

Each is followed in a process of its own, in which the text of the named modules is changed as a
developer would change it, and nothing else is.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

CHILD = """
import importlib.abc, importlib.util, json, sys, types

changes, program = json.loads(sys.argv[1])
changed = {}
for path, before, after in changes:
    text = changed.get(path) or (open(path, encoding="utf-8").read() if before else "")
    assert text.count(before) == 1 or not before, (path, before)
    changed[path] = text.replace(before, after) if before else after

class Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    def find_spec(self, name, path=None, target=None):
        if name.replace(".", "/") + ".py" in changed:
            return importlib.util.spec_from_loader(name, self)

    def exec_module(self, module):
        path = module.__name__.replace(".", "/") + ".py"
        exec(compile(changed[path], path, "exec"), module.__dict__)

sys.meta_path.insert(0, Changed())
exec(program)
print("everywhere")
"""

TABLE = "KINDS: tuple[StructureKind, ...] = ("
KIND = (
    ("core/kinds.py", TABLE, TABLE + """
    StructureKind(
        id="cleft", shape="course", words="cleft", group="danger", limit="vessel", is_danger=True,
        in_bone="other", ends_height=True, diameter="needed", canal_sized=True, declared_as="cleft",
        expected=(Expected(jaw="lower", positions=(6,)),),
        drawn=Drawn(style="cleft", legend="cleft of bone", hue="orange"),
        concept=Concept(code="cleft", meaning="Cleft of bone"),
    ),
"""),
    ("app/tools/curves.py", "class LowerBorder(CourseTool):", """class Cleft(CourseTool):
    name = kind = "cleft"
    stem = "cleft"
    kinds = frozenset({"cleft"})


class LowerBorder(CourseTool):"""),
    ("app/tools/catalogue.py", "curves import Canal,", "curves import Canal, Cleft,"),
    ("app/tools/catalogue.py", "    Vessel,\n    Find", "    Vessel,\n    Cleft,\n    Find"),
)  # fmt: skip
KIND_IS_THERE = """
import numpy as np
from app.panels.rows_shown import mark_tool
from app.tools.catalogue import TOOL, TOOLS
from app.tools.fixture import EVERY_KIND
from core.identity import Tooth, expected_structures, thing_words
from core.sheet.concepts import scheme, target_code
from core.structures import kind_of

tool = TOOL["cleft"]
assert tool.title() == "Cleft" and tool in TOOLS and not tool.folded
assert mark_tool("cleft") == "cleft" and "cleft" in EVERY_KIND
made = tool.new(tool.__new__(tool), "cleft-left", np.zeros(3))
assert kind_of(made).words == "cleft" and str(thing_words(made.id)) == "cleft left"
assert "cleft" in [e.name for e in expected_structures(Tooth.of("36"))]
assert target_code(types.SimpleNamespace(target="cleft"), {}, "lower").meaning == "Cleft of bone"
assert scheme()["cleft"] == ("Cleft of bone", "As marked.")
"""

FIRST = "        MeasurementKind.CLEARANCE: KindRow("
MEASUREMENT = (
    ("core/measurement_kinds.py", '    DEPTH = "depth"', '    DEPTH = "depth"\n    FACE = "face"'),
    ("core/measurement_kinds.py", FIRST, """        MeasurementKind.FACE: KindRow(
            words="face", definition="Face: from brow to chin.", method="m-marks",
            concept=Concept(code="face", meaning="Face", definition="From brow to chin."),
            rounding="down", more_is_safer=True, within_jaw=True, overlaps=True, drawn="fixture",
            for_entry=True, for_laboratory=True,
        ),
""" + FIRST),
)  # fmt: skip
MEASUREMENT_IS_THERE = """
from app.dialogs.help.topics import topics
from core.measurement import Measurement, Reading
from core.measuring.row_names import row_words
from core.sheet.concepts import method_of, name_of, scheme
from core.sheet.ledger_table import meanings
from core.sheet.schemas import ledger_schema, table_schema
from core.trust.figures import labelled, shown

row = Measurement(id="36/face", group="information", kind="face", fixture="36",
                  reading=Reading(value=2.34))
assert row_words(row, jaw="lower").lower() == "face" and shown(row) == "2.3"
assert name_of(row.kind).meaning == "Face" and method_of(row.kind).value == "m-marks"
assert scheme()["face"] == ("Face", "From brow to chin.")
assert ("", "Face: from brow to chin.") in meanings((row,))
assert all("face" in str(schema) for schema in (ledger_schema(), table_schema()))
assert topics()["face"].title == "Face"
below = Measurement(id="36/face", group="information", kind="face", fixture="36",
                    reading=Reading(value=-0.3))
assert labelled(below) == "overlap 0.3"
"""

PARTS = "TABLE: tuple[Part, ...] = ("
IMPORTS = "from core.sheet.side_refusal"
RECORD = (
    ("core/sheet/ring_page.py", "", """
from core.sheet.page import Pages
from core.sheet.small_pages import plain_head

def ring_pdf(case, *, paper="A4"):
    if case.plan.fixtures[0].tooth != "36":
        return None
    pages = Pages(paper, top_mm=34.0)
    pages.new_page()
    pages.text(pages.left, pages.y + 6.0, "Ring", size=20)
    return pages.render(plain_head(case, "Ring", with_birth_date=True), case.facts("Ring"))
"""),
    ("core/sheet/parts.py", IMPORTS, f"from core.sheet.ring_page import ring_pdf\n{IMPORTS}"),
    ("core/sheet/parts.py", PARTS, PARTS + """
    Part(
        id="ring", words="Ring page", what="PDF", files=("ring.pdf",), for_the_chair=True,
        make=lambda task: ring_pdf(task.case, paper=task.paper),
    ),
"""),
)  # fmt: skip
RECORD_IS_THERE = """
import tempfile
from dataclasses import replace
from pathlib import Path
from PySide6.QtWidgets import QApplication
from app.dialogs.sheet.parts import PartsList
from core.errors import OutputError
from core.plans.plan import SideCheck
from core.sheet.folder import settled_case, write_folder
from core.sheet.parts import PARTS, hindrance, part_of
from core.sheet.preview import look_at
from core.sheet.record import RecordSettings
from tests.core.sheet.test_folder import case, fixture_at, names

one, other = case(fixture_at(20.0, "36")), case(fixture_at(20.0, "35"))
assert "ring" in PARTS and part_of("ring.pdf") == "ring"
assert look_at("ring", settled_case(*one), RecordSettings()).pdf.startswith(b"%PDF")
with tempfile.TemporaryDirectory() as folder:
    write_folder(*one, Path(folder) / "out", ("ring",))
    assert names(Path(folder) / "out") == {"ring.pdf", "sheet.ledger.json"}
    try:
        write_folder(*other, Path(folder) / "none", ("ring",))
    except OutputError as refusal:
        assert refusal.code == "record-nothing-to-say" and str(refusal).startswith("Ring page")
    else:
        raise AssertionError("a page with nothing on it")
right = SideCheck(side="right", against="chart", by="LM", at="2026-09-15T10:30")
swapped = replace(one[2], plan=replace(one[2].plan, side_check=right))
assert hindrance("ring", one[2]) is None
assert hindrance("ring", swapped).code == "side-contradiction"
program = QApplication([])
assert PartsList().item(PARTS.index("ring")).text().splitlines() == ["Ring page", "PDF"]
"""

RECIPES = {
    "a structure's kind": (KIND, KIND_IS_THERE),
    "a kind of measurement": (MEASUREMENT, MEASUREMENT_IS_THERE),
    "a file of the record": (RECORD, RECORD_IS_THERE),
}


def places(row: str) -> set[str]:
    """Modules that a recipe names; a bare one stands in the folder of the one before it."""
    told = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    (words,) = re.findall(rf"^\| {re.escape(row)} \| (.*) \|$", told, flags=re.MULTILINE)
    found: list[str] = []
    for name in re.findall(r"`([\w/]+\.py)`", words):
        found.append(name if "/" in name else f"{found[-1].rpartition('/')[0]}/{name}")
    return set(found)


@pytest.mark.parametrize("row", RECIPES)
def test_what_is_added_where_the_recipe_says_works_everywhere(row):
    changes, program = RECIPES[row]
    named = places(row)
    assert {path for path, before, _ in changes if before} <= named
    assert {name for name in named if not (ROOT / name).exists()} == set()
    ran = subprocess.run(
        [sys.executable, "-c", CHILD, json.dumps((changes, program))],
        cwd=ROOT, capture_output=True, text=True, timeout=500, check=False,
    )  # fmt: skip
    assert ran.stdout.strip() == "everywhere", ran.stderr[-2000:]


def test_every_room_of_sentences_that_a_recipe_names_is_there_in_both_languages():
    told = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    named = set(re.findall(r"`([\w-]+\.po)`", told))
    assert len(named) > 4
    for language in ("en", "de"):
        assert {p.name for p in (ROOT / "core/words/locale" / language).glob("*.po")} >= named
