"""A sentence in a file: its key and fields, so that it can be said in another language later."""

from __future__ import annotations

import re
from collections.abc import Mapping

from core.words.catalogue import SOURCE, Message, speaking
from core.words.numbers import Figure

_DEEPEST = 8
_NUMBER = re.compile(r"[-+]?\d+\.\d+")
_FAULTS = (KeyError, IndexError, ValueError, TypeError, AttributeError)
"""What a key or a field that fits no catalogue of this version makes of saying it."""


def in_source(words: object) -> str:
    """The words in the language that files are written in; empty where they cannot be said."""
    with speaking(SOURCE):
        try:
            return str(words)
        except _FAULTS:
            return ""


def as_data(message: Message) -> dict[str, object]:
    """A sentence as JSON values: ``{"key": ..., "fields": {...}}``.

    Parameters
    ----------
    message : Message
        Its fields are numbers, texts or messages; of anything else the text is kept.
    """
    fields = {name: _value(value) for name, value in message.fields.items()}
    return {"key": message.key, "fields": fields}


def _value(value: object) -> object:
    if isinstance(value, Message):
        return as_data(value)
    if isinstance(value, bool | str):
        return value
    if isinstance(value, int):
        return int(value)
    return float(value) if isinstance(value, float) else in_source(value)


def from_data(data: object) -> Message | None:
    """The sentence of such values, which may come from anybody's file; None where it is none."""
    return _message(data, _DEEPEST)


def _message(data: object, deep: int) -> Message | None:
    if not isinstance(data, Mapping) or deep == 0:
        return None
    key, fields = data.get("key"), data.get("fields")
    if not isinstance(key, str) or not isinstance(fields, Mapping):
        return None
    found: dict[str, object] = {}
    for name, value in fields.items():
        part = _message(value, deep - 1) if isinstance(value, Mapping) else value
        if isinstance(part, str) and _NUMBER.fullmatch(part):
            part = Figure(part)
        if not isinstance(name, str) or not isinstance(part, Message | str | int | float):
            return None
        found[name] = part
    return Message(key, found)
