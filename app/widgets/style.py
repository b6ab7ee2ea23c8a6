"""Every colour, pen, symbol and font of the bench, once.

Ink on the pictures comes from `core.pictures.ink`, so that bench, sheet and PNG draw alike; this
module holds what only a window has: surroundings, text, rows and buttons.
"""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files

from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QFont, QFontDatabase, QKeyEvent, QPen

from core.pictures.ink import DARK, STROKES, VERMILION, Colour


def colour(rgb: Colour) -> QColor:
    """A colour of `core.pictures.ink` as the toolkit's."""
    return QColor.fromRgbF(*rgb)


GROUND = QColor("#15181c")
"""Behind everything: dark and neutral, so that greys are judged fairly."""
PANEL = QColor("#1e2328")
PICTURE = QColor("#0c0e10")
"""Behind a picture, where it does not reach."""
RAISED = QColor("#2a3037")
EDGE = QColor("#3a424b")
TEXT = QColor("#f1ede0")
QUIET = QColor("#b3b4ae")
"""Second line, units, captions; still 4.5 : 1 and more on panels."""
OFF = QColor("#9b9d9f")
"""What cannot be pressed now: quieter still, and readable."""
BELOW = QColor("#ff8a4c")
"""Text of *below limit*: the vermilion of the pictures, lifted until it reads on panels."""
BELOW_INK = colour(VERMILION)
FOCUS = QColor("#f1ede0")
SELECTED = QColor("#39424c")
FILLED = QColor("#5b6772")
"""The part of a bar that is done: its percentage is read over it as well as beside it."""

TEXT_PAIRS = (
    (TEXT, GROUND),
    (TEXT, PANEL),
    (TEXT, RAISED),
    (TEXT, SELECTED),
    (TEXT, FILLED),
    (QUIET, GROUND),
    (QUIET, PANEL),
    (QUIET, RAISED),
    (QUIET, SELECTED),
    (QUIET, PICTURE),
    (TEXT, PICTURE),
    (OFF, GROUND),
    (OFF, PANEL),
    (OFF, RAISED),
    (BELOW, GROUND),
    (BELOW, PANEL),
    (BELOW, RAISED),
)
"""Every pair of text and ground that occurs; a test computes their contrast."""

PLATE_ALPHA, NUMERAL_ALPHA = 0.62, 0.78
"""How much of a picture the plates under words and numerals hide: enough on white enamel."""

SHIFT = Qt.KeyboardModifier.ShiftModifier
CTRL = Qt.KeyboardModifier.ControlModifier
ALT = Qt.KeyboardModifier.AltModifier
NO_KEY = Qt.KeyboardModifier.NoModifier
KEYPAD = Qt.KeyboardModifier.KeypadModifier
STEPS = {Qt.Key.Key_Left: -1, Qt.Key.Key_Right: 1}
"""Keys that step along the arch: to the right on every picture, towards the patient's left."""
NUDGES = frozenset(
    {
        Qt.Key.Key_Left, Qt.Key.Key_Right, Qt.Key.Key_Up, Qt.Key.Key_Down,
        Qt.Key.Key_PageUp, Qt.Key.Key_PageDown,
    }
)  # fmt: skip


def is_nudge(event: QKeyEvent) -> bool:
    """Ctrl or Alt with an arrow: it moves what is selected, wherever the focus stands."""
    return event.key() in NUDGES and bool(event.modifiers() & (CTRL | ALT))


FAMILY = "Source Sans 3"
NUMERAL_PX = 14
NAME_PX = 12


def load_fonts() -> None:
    """Make the bundled font known to the toolkit: text then has one width on every machine."""
    if FAMILY in QFontDatabase.families():
        return
    folder = files("core.sheet") / "fonts"
    for name in ("Regular", "Italic", "Semibold"):
        data = (folder / f"SourceSans3-{name}.ttf").read_bytes()
        QFontDatabase.addApplicationFontFromData(data)


def font(px: int = 13, *, bold: bool = False, italic: bool = False) -> QFont:
    """The bench's font at a size in logical pixels."""
    return QFont(_font(px, bold, italic))


@lru_cache(maxsize=64)
def _font(px: int, bold: bool, italic: bool) -> QFont:
    f = QFont(FAMILY)
    f.setStyleHint(QFont.StyleHint.SansSerif)
    f.setPixelSize(px)
    f.setBold(bold)
    f.setItalic(italic)
    return f


@lru_cache(maxsize=512)
def pens(
    style: str, *, below: bool, px_per_mm: float, ratio: float = 1.0
) -> tuple[QPen, QPen, QPen | None]:
    """Casing, ink and (for an open double outline) core pen of a line, widths in screen pixels.

    Widths grow with the zoom up to a point, so that a line never hides what it measures.
    `ratio` is the number of dots of the screen to a pixel: a pen that does not grow with the
    picture is counted in dots, and would be half as wide on a fine screen.
    """
    s = STROKES[style]
    scale = min(max(px_per_mm, 5.0), 9.0)
    width = max(1.2, s.width_mm * scale)
    ink = QPen(colour(DARK.stroke_colour(style, below=below)), width)
    case = QPen(colour(DARK.casing), width + 2 * max(0.8, s.case_mm * scale * 0.6))
    if s.case_mm == 0:
        case = QPen(Qt.PenStyle.NoPen)
    inner = QPen(colour(DARK.casing), width * 0.45) if s.double else None
    for pen in (case, ink, inner):
        if pen is not None:
            pen.setWidthF(pen.widthF() * ratio)
            pen.setCosmetic(True)
            pen.setCapStyle(Qt.PenCapStyle.FlatCap)
            pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    if s.dash_mm:
        ink.setDashPattern([max(0.5, d * scale / width) for d in s.dash_mm])
    return case, ink, inner


STYLE_SHEET = f"""
QWidget {{ background: {GROUND.name()}; color: {TEXT.name()}; font-family: "{FAMILY}";
  font-size: 13px; }}
QFrame#panel {{ background: {PANEL.name()}; border: none; }}
QFrame#panel QLabel, QFrame#panel QCheckBox, QFrame#panel QRadioButton {{
  background: transparent; }}
QFrame#notice {{ background: {SELECTED.name()}; }}
QFrame#notice QLabel {{ background: transparent; }}
QLabel#strong {{ font-weight: bold; }}
QLabel#quiet {{ color: {QUIET.name()}; font-size: 12px; }}
QLabel#hint {{ padding: 0 2px; }}
QLabel#brand {{ font-size: 40px; font-style: italic; }}
QLabel#heading {{ font-size: 14px; font-weight: bold; }}
QWidget QLabel#beside {{ background: {SELECTED.name()}; border: 2px solid {FOCUS.name()};
  border-radius: 3px; padding: 5px 8px; font-weight: bold; }}
QLabel#below {{ color: {BELOW.name()}; }}
QPushButton, QToolButton {{ background: {RAISED.name()}; border: 1px solid {EDGE.name()};
  border-radius: 3px; padding: 4px 10px; }}
QToolButton#tool {{ background: transparent; border: 1px solid transparent;
  border-bottom: 2px solid transparent; border-radius: 0; padding: 4px 3px; }}
QToolButton#tool::menu-indicator {{ image: none; }}
QToolButton#fold, QPushButton#fold {{ background: transparent; border: 1px solid transparent;
  font-size: 12px;
  border-radius: 3px; padding: 2px 5px; color: {QUIET.name()}; }}
QToolButton#next {{ background: {SELECTED.name()}; border: 1px solid {QUIET.name()};
  font-weight: bold; padding: 6px 24px 6px 10px; }}
QToolButton#fold[popupMode="1"] {{ padding-right: 18px; }}
QPushButton#plain {{ padding: 3px 6px; font-size: 12px; }}
QToolButton#fold[marked="true"] {{ color: {TEXT.name()}; font-weight: bold; }}
QToolButton#fold:checked {{ color: {TEXT.name()}; background: {SELECTED.name()}; }}
QToolButton#fold:focus, QPushButton#fold:focus {{ border: 1px solid {FOCUS.name()}; }}
QToolButton#tool:checked {{ border-bottom: 2px solid {TEXT.name()}; font-weight: bold; }}
QToolButton#tool:focus {{ border: 1px solid {FOCUS.name()};
  border-bottom: 2px solid {FOCUS.name()}; }}
QPushButton:hover, QToolButton:hover {{ background: {SELECTED.name()}; }}
QPushButton:focus, QToolButton:focus, QLineEdit:focus, QDoubleSpinBox:focus, QComboBox:focus,
QListView:focus, QTreeView:focus, QTableView:focus {{ border: 1px solid {FOCUS.name()}; }}
QPushButton, QToolButton, QCheckBox, QRadioButton {{ outline: none; }}
QDialogButtonBox {{ dialogbuttonbox-buttons-have-icons: 0; }}
QPushButton:disabled, QToolButton:disabled, QRadioButton:disabled, QCheckBox:disabled,
QDoubleSpinBox:disabled, QComboBox:disabled, QLineEdit:disabled {{ color: {OFF.name()}; }}
QMenu::item:disabled {{ color: {OFF.name()}; }}
QLineEdit, QDoubleSpinBox, QSpinBox, QComboBox, QPlainTextEdit, QTextBrowser {{
  background: {RAISED.name()}; border: 1px solid {EDGE.name()}; border-radius: 3px;
  padding: 3px 5px; selection-background-color: {SELECTED.name()}; }}
QLineEdit {{ placeholder-text-color: {OFF.name()}; }}
QListView, QTreeView, QTableView {{ background: {PANEL.name()}; border: none;
  alternate-background-color: {PANEL.name()}; selection-background-color: {SELECTED.name()};
  selection-color: {TEXT.name()}; }}
QHeaderView::section {{ background: {PANEL.name()}; color: {QUIET.name()}; border: none;
  padding: 3px 6px; }}
QMenuBar {{ background: {PANEL.name()}; }}
QMenu {{ background: {RAISED.name()}; border: 1px solid {QUIET.name()}; padding: 3px; }}
QMenu::item:selected, QMenuBar::item:selected {{ background: {SELECTED.name()}; }}
QCheckBox::indicator, QRadioButton::indicator, QListView::indicator {{ width: 13px; height: 13px;
  border: 1px solid {QUIET.name()}; border-radius: 2px; background: {GROUND.name()}; }}
QRadioButton::indicator {{ border-radius: 7px; }}
QCheckBox::indicator:checked, QRadioButton::indicator:checked, QListView::indicator:checked {{
  width: 9px; height: 9px; background: {TEXT.name()}; border: 3px solid {GROUND.name()};
  outline: 1px solid {TEXT.name()}; }}
QCheckBox, QRadioButton {{ border: 1px solid transparent; }}
QCheckBox:focus, QRadioButton:focus {{ border: 1px solid {FOCUS.name()}; border-radius: 2px; }}
QProgressBar {{ background: {RAISED.name()}; color: {TEXT.name()}; text-align: center; }}
QProgressBar {{ border: none; border-radius: 4px; }}
QProgressBar::chunk {{ background: {FILLED.name()}; border-radius: 4px; }}
QStatusBar {{ font-size: 12px; }}
QStatusBar::item {{ border: none; }}
QScrollBar:vertical {{ background: {PANEL.name()}; width: 10px; }}
QScrollBar::handle:vertical {{ background: {EDGE.name()}; border-radius: 4px; min-height: 24px; }}
QScrollBar:horizontal {{ background: {PANEL.name()}; height: 10px; }}
QScrollBar::handle:horizontal {{ background: {EDGE.name()}; border-radius: 4px; min-width: 24px; }}
QScrollBar::add-line, QScrollBar::sub-line {{ height: 0; width: 0; }}
QSlider#height::groove:vertical {{ background: {EDGE.name()}; width: 2px; }}
QSlider#height::handle:vertical {{ background: {TEXT.name()}; height: 8px; margin: 0 -6px;
  border-radius: 2px; }}
QSlider#height::handle:vertical:focus {{ background: {FOCUS.name()}; }}
QSlider#height {{ background: transparent; }}
QSplitter::handle {{ background: {GROUND.name()}; }}
QToolTip {{ background: {RAISED.name()}; color: {TEXT.name()}; border: 1px solid {EDGE.name()}; }}
"""
