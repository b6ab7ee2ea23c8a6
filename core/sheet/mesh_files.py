"""The laboratory's bodies as files: STL each, all of them in one 3MF, and a list of both.

A number stands before each body's name in the list, in the file's name, in the 3MF and on the
laboratory's page. STL knows no unit; 3MF (3D Manufacturing Format, core specification 1.3) says
millimetres itself.
"""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from xml.sax.saxutils import quoteattr

import numpy as np
import trimesh
from numpy.typing import NDArray

from core.errors import OutputError
from core.sheet.case import Case
from core.sheet.jaw_surface import jaw_surface
from core.sheet.mesh import SUFFIX, meshes, stl

SURFACE = "bone-and-teeth"
PACKAGE, LIST = "meshes_mm.3mf", "meshes.csv"
LIST_COLUMNS = (
    "number", "file", "body", "unit", "axes", "closed", "triangles", "low_x", "low_y", "low_z",
    "high_x", "high_y", "high_z", "note",
)  # fmt: skip

_AT_ONCE = 4096
_TIME = (1980, 1, 1, 0, 0, 0)
"""The first that a zip can hold: the same bodies give the same file."""

_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels"'
    ' ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model"'
    ' ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
    "</Types>"
)
_RELATIONS = (
    '<?xml version="1.0" encoding="UTF-8"?>'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="rel0"'
    ' Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>'
    "</Relationships>"
)

_MODEL = (
    '<?xml version="1.0" encoding="UTF-8"?>'
    '<model unit="millimeter" xml:lang="en-US"'
    ' xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">'
    '<metadata name="Title">Bodies in patient space, DICOM LPS, mm</metadata>'
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """One body: its number, its name, its mesh, or why there is none."""

    number: int
    name: str
    mesh: trimesh.Trimesh | None
    note: str = ""

    @property
    def label(self) -> str:
        """Number and name, as everywhere."""
        return f"{self.number:02d}-{self.name}"

    @property
    def file(self) -> str:
        """Name of its STL; empty where there is no mesh."""
        return f"{self.label}{SUFFIX}" if self.mesh is not None else ""


def body_names(case: Case) -> list[str]:
    """Labels of the bodies, in their order, without making any."""
    names = list(meshes(case.plan, case.arch))
    names += [SURFACE] if case.plan.fixtures else []
    return [f"{number:02d}-{name}" for number, name in enumerate(names, start=1)]


def bodies(case: Case) -> list[Body]:
    """Every body of a case; the surface last, or why it could not be made."""
    found: Mapping[str, trimesh.Trimesh] = meshes(case.plan, case.arch)
    made = [Body(number=n, name=name, mesh=m) for n, (name, m) in enumerate(found.items(), start=1)]
    if case.plan.fixtures:
        number = len(made) + 1
        try:
            mesh = jaw_surface(case.plan, case.volume, case.levels)
            made.append(Body(number=number, name=SURFACE, mesh=mesh))
        except OutputError as refusal:
            made.append(Body(number=number, name=SURFACE, mesh=None, note=str(refusal)))
    return made


def mesh_files(case: Case) -> list[tuple[str, bytes]]:
    """Names and contents: an STL a body, the 3MF, the list. Nothing in them names the patient."""
    made = bodies(case)
    files = [(b.file, stl(b.mesh, b.label)) for b in made if b.mesh is not None]
    return [*files, (PACKAGE, three_mf(made)), (LIST, _listed(made))]


def three_mf(made: list[Body]) -> bytes:
    """All bodies in one file that says its unit, each an object of its own."""
    parts = [_MODEL, "<resources>"]
    whole = [(b, b.mesh) for b in made if b.mesh is not None]
    for body, mesh in whole:
        # A body that is open at its borders is a surface to look at, and no solid to print.
        kind = "model" if mesh.is_watertight else "surface"
        parts.append(
            f'<object id="{body.number}" type="{kind}" name={quoteattr(body.label)}>'
            "<mesh><vertices>"
        )
        parts += [
            f'<vertex x="{x:.4f}" y="{y:.4f}" z="{z:.4f}"/>' for x, y, z in _rows(mesh.vertices)
        ]
        parts.append("</vertices><triangles>")
        parts += [f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in _rows(mesh.faces)]
        parts.append("</triangles></mesh></object>")
    # The specification lets only bodies be built; a surface is there as a resource.
    items = "".join(f'<item objectid="{b.number}"/>' for b, m in whole if m.is_watertight)
    parts.append(f"</resources><build>{items}</build></model>")
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        for name, text in (
            ("[Content_Types].xml", _TYPES),
            ("_rels/.rels", _RELATIONS),
            ("3D/3dmodel.model", "".join(parts)),
        ):
            info = zipfile.ZipInfo(name, _TIME)
            info.compress_type = zipfile.ZIP_DEFLATED
            package.writestr(info, text)
    return out.getvalue()


def _rows(values: NDArray[Any]) -> Iterator[list[Any]]:
    """Rows as plain numbers, some thousand at a time.

    All at once they are a quarter of a million lists that a tidying up walks through; and the
    library's own arrays watch every row that is taken out of them, so plain ones are asked.
    """
    plain = np.asarray(values)
    for first in range(0, len(plain), _AT_ONCE):
        yield from plain[first : first + _AT_ONCE].tolist()


def _listed(made: list[Body]) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(LIST_COLUMNS)
    for body in made:
        mesh = body.mesh
        row: list[object] = [body.number, body.file, body.name, "mm", "DICOM LPS"]
        if mesh is None:
            row += [""] * 8
        else:
            bounds = [f"{float(v):.2f}" for v in mesh.bounds.ravel()]
            row += ["yes" if mesh.is_watertight else "no", len(mesh.faces), *bounds]
        writer.writerow([*row, body.note])
    return out.getvalue().encode("utf-8-sig")
