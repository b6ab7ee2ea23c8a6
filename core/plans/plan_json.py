"""Strict JSON for plan files: no duplicate keys, no NaN, the place of every fault named."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Mapping
from itertools import pairwise
from typing import Any, NoReturn

from core.errors import PlanError
from core.words.catalogue import Words, message

MAX_BYTES = 8 * 1024 * 1024
"""A plan is a few kilobytes; what is larger is no plan and is not read into memory."""

MAX_DEPTH = 32
"""A plan nests five deep; deeper files are refused before they can exhaust the program."""

_TOKENS = re.compile(r'"(?:\\.|[^"\\])*"|[{}\[\]:,]|-?(?:NaN|Infinity)|[^\s{}\[\]:,"]+', re.DOTALL)


def read_json(data: bytes) -> dict[str, Any]:
    """Return the object of a JSON file.

    Raises
    ------
    PlanError
        ``plan-too-large``, ``plan-not-utf8``, ``plan-broken-json`` (line, column, reason),
        ``plan-duplicate-key``, ``plan-not-a-number``, ``plan-nested-too-deep`` or
        ``plan-not-an-object``.
    """
    if len(data) > MAX_BYTES:
        raise PlanError("plan-too-large", megabytes=MAX_BYTES // 2**20)
    try:
        # Some editors put a byte order mark in front; it changes nothing.
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise PlanError("plan-not-utf8", line=line) from error
    _check_depth(text)
    try:
        document = json.loads(
            text,
            object_pairs_hook=lambda pairs: _object(pairs, text),
            parse_constant=lambda found: _no_number(found, text),
            parse_float=lambda found: _finite(found, text),
            parse_int=lambda found: _integer(found, text),
        )
    except json.JSONDecodeError as error:
        raise PlanError(
            "plan-broken-json", line=error.lineno, column=error.colno, reason=error.msg
        ) from error
    except RecursionError as error:
        raise PlanError("plan-nested-too-deep", depth=MAX_DEPTH) from error
    if not isinstance(document, dict):
        raise PlanError("plan-not-an-object", found=kind_of(document))
    return document


def kind_of(value: object) -> Words:
    """What a JSON value is, in words, short enough for a message."""
    match value:
        case None:
            return message("plans.json.null")
        case bool():
            return "true" if value else "false"
        case int() | float():
            return message("plans.json.number", value=str(value))
        case str():
            return message("plans.json.text", value=repr(value[:40]))
        case list() | tuple():
            return message("plans.json.list", count=len(value))
        case Mapping():
            return message("plans.json.object")
        case _:
            return type(value).__name__


def _check_depth(text: str) -> None:
    depth = 0
    for token in _TOKENS.finditer(text):
        first = token.group()[0]
        depth += (first in "{[") - (first in "}]")
        if depth > MAX_DEPTH:
            raise PlanError("plan-nested-too-deep", depth=MAX_DEPTH)


def _object(pairs: list[tuple[str, Any]], text: str) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for key, value in pairs:
        if key in out:
            line, column = _second_place_of(key, text)
            raise PlanError("plan-duplicate-key", key=key[:40], line=line, column=column)
        _check_text(key)
        if isinstance(value, str):
            _check_text(value)
        if isinstance(value, list):
            _check_list(value)
        out[key] = value
    return out


def _check_list(values: list[Any]) -> None:
    for value in values:
        if isinstance(value, str):
            _check_text(value)
        if isinstance(value, list):
            _check_list(value)


def _check_text(text: str) -> None:
    # Half a character (a lone surrogate) can be read but never be written again.
    try:
        text.encode("utf-8")
    except UnicodeEncodeError as error:
        raise PlanError("plan-half-character", found=ascii(text[:40])) from error


def _no_number(found: str, text: str) -> NoReturn:
    line, column = _place(text, lambda token: token == found)
    raise PlanError("plan-not-a-number", found=found, line=line, column=column)


def _finite(found: str, text: str) -> float:
    value = float(found)
    if not math.isfinite(value):
        line, column = _place(text, lambda token: token == found)
        raise PlanError("plan-not-a-number", found=found[:40], line=line, column=column)
    return value


def _integer(found: str, text: str) -> int:
    # Beyond 2**53 a whole number changes when it becomes a coordinate; no plan needs one.
    if len(found) > 17 or abs(int(found)) > 2**53:
        line, column = _place(text, lambda token: token == found)
        raise PlanError("plan-not-a-number", found=found[:40], line=line, column=column)
    return int(found)


def _place(text: str, wanted: Callable[[str], bool]) -> tuple[int, int]:
    for token in _TOKENS.finditer(text):
        if wanted(token.group()):
            return _line_column(text, token.start())
    return 1, 1


def _second_place_of(key: str, text: str) -> tuple[int, int]:
    """Place where an object names a key again: the first such place in the file."""
    seen: list[set[str]] = []
    tokens = list(_TOKENS.finditer(text))
    for token, following in pairwise(tokens):
        word = token.group()
        if word in "{[":
            seen.append(set())
        elif word in "}]":
            seen.pop()
        elif following.group() == ":" and word.startswith('"'):
            name = json.loads(word)
            if name == key and name in seen[-1]:
                return _line_column(text, token.start())
            seen[-1].add(name)
    return 1, 1


def _line_column(text: str, at: int) -> tuple[int, int]:
    return text.count("\n", 0, at) + 1, at - (text.rfind("\n", 0, at) + 1) + 1
