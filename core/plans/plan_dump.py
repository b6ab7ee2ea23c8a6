"""`core.plans.plan.Plan` → plan document and text; keys that this program does not know stay."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any

from core.plans.parts import Values, canonical, over
from core.plans.plan import Plan
from core.plans.plan_table import FORMAT, PLAN, VERSION

WIDTH = 100
OUTSIDE_FINGERPRINT = ("sign_off", "history", "history_head", "locked")
"""What changes no measurement: a signed plan stays signed when something is locked."""


def document_of(plan: Plan) -> Values:
    """Return the plan as JSON values, with every key of `Plan.document` not known here.

    Elements of lists are the same when their ids are; a removed element takes its keys along.
    A value that did not change is written as it was read (``0``, not ``0.0``).
    """
    raw = dict(plan.document)
    known: Values = {"format": FORMAT, "version": VERSION}
    out = over(raw, known | {key.name: key.write(plan, raw) for key in PLAN})
    out.setdefault("sign_off", None)
    return out


def text_of(document: Mapping[str, Any]) -> str:
    """JSON for people: one line for each thing that fits on one, UTF-8 left as it is."""
    lines = [f"  {_keyed(key, value, 2)}" for key, value in document.items()]
    return "{\n" + ",\n".join(lines) + "\n}\n"


def fingerprint_of(document: Mapping[str, Any], *, without: Iterable[str] = ()) -> str:
    """``sha256:...`` over canonical JSON: sorted keys, no spaces, every number a float.

    `without` names top-level keys that are left out. ``1`` and ``1.0``, ``-0.0`` and ``0`` are
    the same; the order of keys and the layout of the file do not matter.
    """
    kept = {key: value for key, value in document.items() if key not in set(without)}
    text = json.dumps(canonical(kept), sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return f"sha256:{hashlib.sha256(text.encode('utf-8')).hexdigest()}"


def plan_fingerprint(plan: Plan) -> str:
    """``sha256:...`` over the canonical plan document without sign-off and history."""
    return fingerprint_of(document_of(plan), without=OUTSIDE_FINGERPRINT)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _keyed(key: str, value: Any, indent: int) -> str:
    name = f"{_quoted(key)}: "
    return name + _pretty(value, indent, before=len(name))


def _pretty(value: Any, indent: int, *, before: int = 0) -> str:
    flat = json.dumps(value, ensure_ascii=False, allow_nan=False)
    if indent + before + len(flat) <= WIDTH or not isinstance(value, (dict, list)):
        return flat
    inner = " " * (indent + 2)
    if isinstance(value, dict):
        rows = [f"{inner}{_keyed(k, v, indent + 2)}" for k, v in value.items()]
        return "{\n" + ",\n".join(rows) + "\n" + " " * indent + "}"
    rows = [inner + _pretty(item, indent + 2) for item in value]
    return "[\n" + ",\n".join(rows) + "\n" + " " * indent + "]"
