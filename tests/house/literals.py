"""Finds text for people among the literals of a module: what should stand in the catalogues."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator

PROGRAMMERS = {
    "AssertionError", "AttributeError", "IndexError", "KeyError", "NotImplementedError",
    "ArithmeticError", "RuntimeError", "TypeError", "ValueError",
}  # fmt: skip
"""Errors that only a programmer sees."""

SPEAKERS = {
    "Finding", "KeptFileError", "Message", "Note", "OutputError", "PlanError", "ScanError",
    "SoundingError", "message", "say", "said", "sentence",
}  # fmt: skip
"""Their first argument is a key or a code."""

SAYING = {"message", "said", "say"}
"""Of these only the functions: a method of that name is handed what it says."""

SILENT = {
    "compile", "debug", "error", "exception", "fullmatch", "getLogger", "info", "match", "search",
    "setObjectName", "setProperty", "setStyleSheet", "sub", "warning",
}  # fmt: skip
"""What is handed to them is shown to nobody, or only stands in the log for programmers."""

EXAMPLES = {"command": 2}
"""From this argument on they are handed commands as they are typed."""

IN_FILES = {"Concept"}
"""What is handed to them is written to files of a standard, in English wherever it is."""

SHOWN = {
    "QAction", "QCheckBox", "QGroupBox", "QLabel", "QListWidgetItem", "QPushButton", "QRadioButton",
    "QTableWidgetItem", "QToolButton", "addAction", "addMenu", "addRow", "addTab", "print", "say",
    "setAccessibleDescription", "setAccessibleName", "setHorizontalHeaderLabels",
    "setInformativeText", "setPlaceholderText", "setStatusTip", "setText", "setTitle", "setToolTip",
    "setWindowTitle", "tell", "words",
}  # fmt: skip
"""Even a single word that is handed to them is read by people."""

NAMED = {"accept_words", "heading", "help", "hint", "title", "words"}
"""Keywords and names of variables that hold what people read."""

_TWO_WORDS = re.compile(r"[A-Za-z’']{2,}[,.:;!?]? +[(“]?[A-Za-z]+")
_A_WORD = re.compile(r"[A-Za-z]{3,}")
_NO_WORD = re.compile(r"[\w./{}-]*[./_-][\w./{}-]*")
_NO_TEXT = re.compile(
    r"\bQ[A-Z]\w+[#:{ ,\[]|\{\s*[a-z-]+:|^\s*#\w+ \{|<\w+|color:|^\s+sounding |"
    r"[a-z]+: ?[#\w.-]+;|=\{"
)


def texts(tree: ast.Module, codes: frozenset[str] = frozenset()) -> Iterator[tuple[int, str]]:
    """(line, text) of each literal that people may read; fields of f-strings stand as ``{}``."""
    parents = {id(child): node for node in ast.walk(tree) for child in ast.iter_child_nodes(node)}
    for node in ast.walk(tree):
        text = _text(node)
        if text is None or text in codes or _NO_TEXT.search(text):
            continue
        above = list(_above(node, parents))
        if _is_read(node, text, above) and not _is_silent(node, above):
            yield node.lineno, text


def _text(node: ast.AST) -> str | None:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        parts = (str(p.value) if isinstance(p, ast.Constant) else "{}" for p in node.values)
        return "".join(parts).replace("Sounding", "{}")
    return None


def _above(node: ast.AST, parents: dict[int, ast.AST]) -> Iterator[ast.AST]:
    while id(node) in parents:
        node = parents[id(node)]
        yield node


def _is_read(node: ast.AST, text: str, above: list[ast.AST]) -> bool:
    if _TWO_WORDS.search(text):
        return True
    if isinstance(node, ast.JoinedStr):
        return " " in text and _A_WORD.search(_NO_WORD.sub("", text)) is not None
    near = [a for a in above if not isinstance(a, (ast.Tuple, ast.List, ast.IfExp))][:1]
    if not near or not _A_WORD.search(text):
        return False
    if isinstance(near[0], ast.Call):
        return _called(near[0]) in SHOWN and not re.fullmatch(r"[a-z]+[_.-][\w.-]*", text)
    if isinstance(near[0], ast.keyword):
        return near[0].arg in NAMED
    return isinstance(near[0], ast.Assign) and _assigned(near[0]) in NAMED


def _is_silent(node: ast.AST, above: list[ast.AST]) -> bool:
    parent = above[0]
    if isinstance(parent, ast.Expr):
        return isinstance(node, ast.Constant)
    if isinstance(parent, (ast.JoinedStr, ast.Compare, ast.MatchValue)):
        return True
    if isinstance(parent, ast.Subscript) and parent.slice is node:
        return True
    if isinstance(parent, ast.Call):
        called = _called(parent)
        speaks = called in SPEAKERS and (isinstance(parent.func, ast.Name) or called not in SAYING)
        if called in EXAMPLES and node in parent.args[EXAMPLES[called] :]:
            return True
        if called in SILENT or (speaks and parent.args and parent.args[0] is node):
            return True
    return any(_hides(a, child) for a, child in zip(above, [node, *above], strict=False))


def _hides(above: ast.AST, child: ast.AST) -> bool:
    if isinstance(above, ast.Raise) and isinstance(above.exc, ast.Call):
        return _called(above.exc) in PROGRAMMERS
    if isinstance(above, ast.Subscript):
        return isinstance(above.value, ast.Name) and above.value.id == "Literal"
    if isinstance(above, ast.Call):
        return _called(above) in IN_FILES
    if isinstance(above, ast.FormattedValue):
        return above.format_spec is child
    if isinstance(above, ast.AnnAssign):
        return above.annotation is child
    return isinstance(above, ast.arg) or (
        isinstance(above, ast.FunctionDef) and above.returns is child
    )


def _called(call: ast.Call) -> str:
    return getattr(call.func, "id", getattr(call.func, "attr", ""))


def _assigned(node: ast.Assign) -> str:
    target = node.targets[0]
    return getattr(target, "id", getattr(target, "attr", ""))
