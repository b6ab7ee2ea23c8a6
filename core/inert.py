"""Text of a file's header does nothing where it is shown: no terminal and no window obeys it."""

from __future__ import annotations

_DIRECTION = (*range(0x202A, 0x202F), *range(0x2066, 0x206A))
_CONTROLS = (*range(0x20), *range(0x7F, 0xA0), 0x2028, 0x2029, *_DIRECTION)
_SHOWN = {code: f"\\u{code:04x}" for code in _CONTROLS if chr(code) not in "\n\t"}
_ONE_LINE = {**_SHOWN, ord("\n"): " ", ord("\t"): " "}


def inert(text: str) -> str:
    r"""Text whose control characters are shown as ``\u001b`` and obeyed by nobody.

    The form is JSON's own, so that a printed document stays the same document.
    """
    return text.translate(_SHOWN)


def one_line(text: str) -> str:
    """`inert` for text that must not begin a line of its own: a name could pass for a finding."""
    return text.translate(_ONE_LINE)
