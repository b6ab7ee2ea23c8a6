"""The list of what can be written: each part with its kind, chosen or not, or why it cannot be."""

from __future__ import annotations

from collections.abc import Mapping

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtWidgets import QListWidget, QListWidgetItem, QWidget

from core.errors import SoundingError
from core.sheet.parts import PART, PARTS
from core.words.catalogue import say, sentences_of

WIDTH = 268
_CHOSEN = Qt.CheckState.Checked


class PartsList(QListWidget):
    """One row a part: looked at by selecting it, chosen by its box or the space bar."""

    chosen_changed = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.hindrances: dict[str, SoundingError] = {}
        self.setAccessibleName(say("dialogs.sheet.parts.what-is-written"))
        self.setFixedWidth(WIDTH)
        self.setWordWrap(True)
        self.setUniformItemSizes(False)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        for part in PARTS:
            item = QListWidgetItem()
            item.setData(Qt.ItemDataRole.UserRole, part)
            item.setCheckState(_CHOSEN)
            self.addItem(item)
        self.tell_hindrances({})
        self.setCurrentRow(0)
        self.itemChanged.connect(lambda _item: self.chosen_changed.emit())

    @property
    def part(self) -> str:
        """The part that is looked at."""
        return PARTS[max(self.currentRow(), 0)]

    @property
    def chosen(self) -> tuple[str, ...]:
        """Parts that are chosen and can be made."""
        return tuple(
            part
            for row, part in enumerate(PARTS)
            if part not in self.hindrances and self.item(row).checkState() == _CHOSEN
        )

    def tell_hindrances(self, hindrances: Mapping[str, SoundingError]) -> None:
        """Say of each part whether it can be made; a part that cannot has no box."""
        self.blockSignals(True)
        for row, part in enumerate(PARTS):
            item, refusal = self.item(row), hindrances.get(part)
            was_barred = part in self.hindrances
            if refusal is None:
                item.setText(f"{PART[part].words}\n{PART[part].what}")
                item.setToolTip("")
                if was_barred:
                    item.setCheckState(_CHOSEN)
            else:
                item.setText(
                    say(
                        "dialogs.sheet.parts.not-possible",
                        words=PART[part].words,
                        clause=_clause(refusal),
                    )
                )
                item.setToolTip(str(refusal))
                item.setData(Qt.ItemDataRole.CheckStateRole, None)
            item.setSizeHint(QSize(WIDTH - 8, 62 if refusal else 42))
        self.hindrances = dict(hindrances)
        self.blockSignals(False)
        self.chosen_changed.emit()


def _clause(refusal: SoundingError) -> str:
    """What is wrong, the first sentence of *what, why, what to do*; the rest stands beside it."""
    what = sentences_of(str(refusal))[0].rstrip(".")
    return what if len(what) <= 64 else f"{what[:62].rsplit(' ', 1)[0]} …"
