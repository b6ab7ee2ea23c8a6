"""What the program is made of: nothing left out, each licence stated, one command."""

from __future__ import annotations

import json
import re
from importlib.metadata import version

from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator

from app.cli.command_line import run
from app.components import bill_of_materials, components, licence_lines
from app.dialogs.help.topics import topics
from tests.house.test_dependencies import closure


def test_every_installed_part_that_the_program_needs_is_named():
    """Against the requirements as the packaging library reads them."""
    named = {part.name: part.version for part in components()}
    assert named == {name: part.version for name, part in closure("bench").items()}


def test_every_part_states_a_licence():
    assert [part.name for part in components() if part.licence == "not stated"] == []


def test_the_page_of_the_help_names_them_all():
    page = topics()["licences"]
    assert page.paragraphs[1:] == licence_lines()
    assert f"numpy {version('numpy')}: " in " ".join(page.paragraphs)
    assert any(line.startswith("pyside6-essentials") and "LGPL" in line for line in page.paragraphs)


def problem_of(text):
    """What the standard's own schema (CycloneDX 1.6, ECMA-424) has against a document."""
    return JsonStrictValidator(SchemaVersion.V1_6).validate_str(text)


def test_the_bill_of_materials_is_what_the_standards_schema_asks_for():
    text = bill_of_materials()
    assert problem_of(text) is None
    for spoilt in (
        text.replace('"type": "library"', '"type": "part"', 1),
        text.replace('"urn:uuid:', '"uuid:'),
        text.replace('"version": 1,', '"version": "first",'),
        text.replace('"dependsOn"', '"needs"', 1),
    ):
        assert spoilt != text
        assert problem_of(spoilt) is not None


def test_one_command_writes_a_bill_of_materials(tmp_path, capsys):
    out = tmp_path / "parts.cdx.json"
    assert run(["components", "--out", str(out)]) == 0
    bill = json.loads(out.read_text("utf-8"))
    assert (bill["bomFormat"], bill["specVersion"]) == ("CycloneDX", "1.6")
    assert re.fullmatch(r"urn:uuid:[0-9a-f-]{36}", bill["serialNumber"])
    assert bill["metadata"]["component"]["name"] == "Sounding"
    references = [part["bom-ref"] for part in bill["components"]]
    assert len(references) == len(set(references)) == len(components())
    assert f"pkg:pypi/numpy@{version('numpy')}" in references
    known = {*references, bill["metadata"]["component"]["bom-ref"]}
    reached = {bill["metadata"]["component"]["bom-ref"]}
    for entry in bill["dependencies"]:
        assert {entry["ref"], *entry["dependsOn"]} <= known
        reached |= set(entry["dependsOn"])
    assert reached == known, "every part is there because something needs it"
    assert run(["components"]) == 0
    assert f"numpy {version('numpy')}: " in capsys.readouterr().out
