"""A plan document of any version → one of the present version."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any, TypeAlias

from core.errors import PlanError
from core.plans.plan_dump import OUTSIDE_FINGERPRINT, fingerprint_of
from core.plans.plan_json import kind_of
from core.plans.plan_table import FORMAT, VERSION

Document: TypeAlias = dict[str, Any]
Step: TypeAlias = Callable[[Document], Document]


def version_of(document: Mapping[str, Any]) -> int:
    """The version that a plan document says it has.

    Raises
    ------
    PlanError
        ``plan-not-a-plan``, ``plan-no-version``, ``plan-newer``.
    """
    if document.get("format") != FORMAT:
        raise PlanError("plan-not-a-plan", found=kind_of(document.get("format")))
    version = document.get("version")
    if isinstance(version, bool) or not isinstance(version, int) or version < 1:
        raise PlanError("plan-no-version", found=kind_of(version))
    if version > VERSION:
        raise PlanError("plan-newer", found=version, known=VERSION)
    return version


def present(document: Document) -> Document:
    """The document as the present version writes it.

    A signature that held for the older document holds for the newer one: its fingerprint is made
    anew. One that did not hold stays as it is, and void.

    Parameters
    ----------
    document : dict
        JSON values of a plan file; left as they are.

    Raises
    ------
    PlanError
        Those of `version_of`.
    """
    for version in range(version_of(document), VERSION):
        newer = STEPS[version](dict(document)) | {"version": version + 1}
        document = _signed_as_before(document, newer)
    return document


def _signed_as_before(older: Document, newer: Document) -> Document:
    signed = older.get("sign_off")
    if not isinstance(signed, dict) or signed.get("plan_fingerprint") != _fingerprint(older):
        return newer
    return newer | {"sign_off": signed | {"plan_fingerprint": _fingerprint(newer)}}


def _fingerprint(document: Document) -> str:
    return fingerprint_of(document, without=OUTSIDE_FINGERPRINT)


def _stent_axes(document: Document) -> Document:
    """Version 1 called the axes of a stent's tubes ``channels``."""
    return {"stent_axes" if key == "channels" else key: v for key, v in document.items()}


STEPS: Mapping[int, Step] = MappingProxyType({1: _stent_axes})
"""What turns a document of a version into the next one."""
