"""Edits of the places that a person pointed at to show the tissues of a scan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from numpy.typing import ArrayLike

from core.geometry import vector
from core.plans.plan import TISSUES, Plan, Tissue, TissuePoint


def with_tissues(plan: Plan, places_mm: Mapping[Tissue, ArrayLike]) -> Plan:
    """Point at tissues anew: what was pointed at before is dropped.

    Parameters
    ----------
    places_mm : mapping of tissue to (3,) patient LPS mm
    """
    points = tuple(
        TissuePoint(tissue=tissue, at=vector(places_mm[tissue]))
        for tissue in TISSUES
        if tissue in places_mm
    )
    return replace(plan, tissue_points=points)


def with_tissue_moved(plan: Plan, index: int, place_mm: ArrayLike) -> Plan:
    """Put one of the places elsewhere.

    Parameters
    ----------
    plan : Plan
    index : int
        Of the place in the plan.
    place_mm : (3,) patient LPS mm
    """
    points = list(plan.tissue_points)
    points[index] = replace(points[index], at=vector(place_mm))
    return replace(plan, tissue_points=tuple(points))


def without_tissue_points(plan: Plan) -> Plan:
    """Drop all of them: levels need the three together."""
    return replace(plan, tissue_points=())
