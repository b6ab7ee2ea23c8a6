"""Puts the truth of a sample together: geometry, plans, and the values to be found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from sample_volumes import lower_jaw as lower
from sample_volumes import truth as t
from sample_volumes import upper_jaw as upper
from sample_volumes.distances import clearances
from sample_volumes.lower_plans import lower_plans
from sample_volumes.plans import Case
from sample_volumes.shapes import Array
from sample_volumes.upper_plans import upper_plans


def _line(
    name: str, surfaces: t.Surfaces, *, origin: Array, side: Array, down: Array, half_mm: float
) -> dict[str, Any]:
    """Crest, widths and plates of a section along a direction."""
    depth, offset = t.crest_depth(surfaces.outer, origin, side, down, half_mm)
    rows = t.widths(surfaces.outer, origin, side, down, depth)["rows"]
    for row in rows:
        for plate, end, inward in (("lingual", 0, side), ("buccal", 1, -side)):
            row[f"{plate}_plate_mm"] = t.plate(surfaces, np.array(row["ends"][end]), inward)
    return {
        "along": name, "origin": origin.tolist(), "side": side.tolist(), "down": down.tolist(),
        "crest_depth_mm": depth, "crest_offset_mm": offset,
        "crest": (origin + depth * down + offset * side).tolist(), "widths": rows,
    }  # fmt: skip


def _canal_top(line: Array, radius: float, origin: Array, travel: Array, up: Array) -> Array:
    """Highest point of a tube in the plane through `origin` across `travel`."""
    off = (line - origin) @ travel
    near = np.abs(off) < radius
    rise = np.sqrt(radius**2 - off[near] ** 2)
    heights = (line[near] - origin) @ up + rise
    at = int(np.argmax(heights))
    c = line[near][at]
    return np.asarray(c - off[near][at] * travel + rise[at] * up)


def _height_on_axis(
    line: Array, radius: float, platform: Array, axis: Array, reach: float
) -> float:
    """Least depth along the axis at which a tube is met within `reach` of the axis."""
    d = line - platform
    depth = d @ axis
    off = np.linalg.norm(d - depth[:, None] * axis, axis=1)
    beyond = np.maximum(off - reach, 0.0)
    hit = beyond < radius
    return float(np.min(depth[hit] - np.sqrt(radius**2 - beyond[hit] ** 2)))


def _axis(fixture: dict[str, Any]) -> tuple[Array, Array]:
    axis = np.array(fixture["towards_apex"])
    return np.array(fixture["platform"]), axis / np.linalg.norm(axis)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Site:
    """The frame of a gap in patient space; `down` leads from the crest into the jaw."""

    surfaces: t.Surfaces
    origin: Array
    travel: Array
    buccal: Array
    up: Array
    down: Array
    mesial: Array

    @classmethod
    def of(cls, case: Case, surfaces: t.Surfaces, gap: float) -> _Site:
        travel, buccal = case.arch.frame(gap)
        turned = case.pose.rotation
        return cls(
            surfaces=t.in_patient(surfaces, case.pose),
            origin=case.pose.patient(case.arch.place(gap)),
            travel=turned @ travel, buccal=turned @ buccal, up=turned[:, 2],
            down=case.up * turned[:, 2], mesial=turned @ travel * (-1.0 if gap > 0 else 1.0),
        )  # fmt: skip

    def line(self, name: str, origin: Array, down: Array, half_mm: float) -> dict[str, Any]:
        """Crest, widths and plates of the section along a direction."""
        side = self.buccal - down * (self.buccal @ down)
        return _line(name, self.surfaces, origin=origin, side=side / np.linalg.norm(side),
                     down=down, half_mm=half_mm)  # fmt: skip

    def fixture(self, plan: dict[str, Any], *, dense: bool) -> dict[str, Any]:
        """What is to be found for a plan's only fixture."""
        fixture = plan["fixtures"][0]
        platform, axis = _axis(fixture)
        outer = self.surfaces.outer
        found = {
            "axis": self.line("axis", platform, axis, 3.0),
            "up": self.line("up", platform, self.down, 3.0),
            "walls": t.walls(outer, fixture, self.buccal, self.mesial),
            "platform_depth_mm": t.rim(outer, fixture, self.buccal, self.mesial),
            "clearances": clearances(plan),
        }
        if dense:
            found["bone_surface"] = t.bone_surface(outer, fixture, self.buccal)
        return found

    def common(self, case: Case, gap: float) -> dict[str, Any]:
        """Scan, jaw plane and arch."""
        header, grid = case.header, case.grid
        return {
            "format": "sounding-sample-truth", "version": 1, "units": "mm, deg, LPS",
            "scan": {"series_uid": header.series_uid, "shape": list(grid.shape),
                     "voxel_mm": grid.voxel_mm, "affine": grid.affine.tolist()},
            "arch": {"site_station_from_midline_mm": gap, "travel": self.travel.tolist(),
                     "buccal": self.buccal.tolist(), "up": self.up.tolist(),
                     "origin": self.origin.tolist()},
        }  # fmt: skip

    def thin_place(self, case: Case, thin: tuple[float, float]) -> dict[str, Any]:
        """Where the buccal cortex is thinnest, and how thick it is there."""
        inward = -case.pose.rotation @ case.arch.frame(thin[0])[1]
        start = case.pose.patient(case.arch.place(thin[0], 12.0, thin[1]))
        hit = t.crossings(self.surfaces.outer, start, inward, 14.0)[0]
        edge = start + hit * inward
        return {"edge": edge.tolist(), "plate_mm": t.plate(self.surfaces, edge, inward)}


Report = tuple[dict[str, Any], dict[str, Any], dict[str, Any]]


def lower_report(case: Case, jaw: lower.LowerJaw, *, dense: bool = True) -> Report:
    """Right plan, wrong plan and truth of the lower jaw with a gap at 36.

    Without `dense` the wrong plan's values and the distances to the bone surface are left out.
    """
    right, wrong, faults = lower_plans(case)
    place = _Site.of(case, jaw, lower.GAP)
    up, radius = place.up, lower.CANAL_DIAMETER / 2
    outer = place.surfaces.outer
    site = place.line("up", place.origin, place.down, 6.0)
    canal = case.pose.patient(jaw.canal)
    top = _canal_top(canal, radius, place.origin, place.travel, up)
    over = float((np.array(site["crest"]) - top) @ up)
    site["height_mm"] = over
    site["hollow"] = t.hollow(outer, top, place.buccal, up, over)
    centre = top - radius * up
    across = t.crossings(outer, centre - 25.0 * place.buccal, place.buccal, 50.0) - 25.0
    below = t.crossings(outer, centre, -up, 30.0)[0]
    fixtures = {}
    for name, plan in (("right", right), ("wrong", wrong)) if dense else (("right", right),):
        found = place.fixture(plan, dense=dense)
        reach = plan["fixtures"][0]["size"]["diameter_mm"] / 2 + 2.0
        met = _height_on_axis(canal, radius, *_axis(plan["fixtures"][0]), reach)
        found["axis"]["height_mm"] = met - found["axis"]["crest_depth_mm"]
        fixtures[name] = found
    truth = place.common(case, lower.GAP) | {
        "level": right["level"],
        "site": site,
        "canal": {"diameter_mm": lower.CANAL_DIAMETER, "top": top.tolist(),
                  "to_buccal_mm": float(across[-1] - radius),
                  "to_lingual_mm": float(-across[0] - radius),
                  "to_lower_border_mm": float(below - radius), "to_crest_mm": over},
        "thin_place": place.thin_place(case, lower.THIN),
        "stent": right["stent_axes"][0],
        "fixtures": fixtures,
        "wrong_plan_faults": faults,
    }  # fmt: skip
    return right, wrong, truth


def upper_report(case: Case, jaw: upper.UpperJaw, *, dense: bool = True) -> Report:
    """Right plan, wrong plan and truth of the upper jaw with a gap at 15; see `lower_report`."""
    right, wrong, faults = upper_plans(case)
    place = _Site.of(case, jaw, upper.GAP)

    def sinus(points: Array) -> Array:
        return jaw.sinus(case.pose.jaw(points))

    site = place.line("up", place.origin, place.down, 6.0)
    across = np.linspace(-5.0, 4.0, 181)[:, None] * place.buccal
    level = t.first_crossings(sinus, place.origin + across, place.down, 40.0)
    site["height_mm"] = float(np.nanmin(level)) - site["crest_depth_mm"]
    fixtures = {}
    for name, plan in (("right", right), ("wrong", wrong)) if dense else (("right", right),):
        found = place.fixture(plan, dense=dense)
        fixture = plan["fixtures"][0]
        reach = fixture["size"]["diameter_mm"] / 2 + 1.0
        met = t.first_within(sinus, *_axis(fixture), reach)
        found["axis"]["height_mm"] = met - found["axis"]["crest_depth_mm"]
        if dense:
            found["sinus_wall_mm"] = t.cavity_distance(sinus, fixture)
        fixtures[name] = found
    truth = place.common(case, upper.GAP) | {
        "level": right["level"],
        "site": site,
        "sinus": {"septum_top": right_mark(right, "septum-right"),
                  "septum_from_midline_mm": upper.SEPTUM},
        "thin_place": place.thin_place(case, upper.THIN),
        "stent": right["stent_axes"][0],
        "fixtures": fixtures,
        "wrong_plan_faults": faults,
    }  # fmt: skip
    return right, wrong, truth


def right_mark(plan: dict[str, Any], identity: str) -> Any:
    """First point of a structure of a plan."""
    return next(s["points"][0] for s in plan["structures"] if s["id"] == identity)
