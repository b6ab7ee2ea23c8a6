"""Fields of the expected check film: how the tube stands, and the pin in the first hole."""

from __future__ import annotations

from dataclasses import replace

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QGridLayout, QLabel, QPushButton, QWidget

from app.widgets.number_box import NumberBox
from core.image.radiograph import Tube
from core.sheet.day import Pin
from core.words.catalogue import message, say

WHOLE_LENGTH = message("dialogs.film_fields.as-fixture")

_LEAST_RAY_MM = 50.0


class FilmFields(QWidget):
    """Numbers with their units; what is changed is drawn anew at once.

    Distances of the tube and the pin's own size are the practice's and are kept; angles, and how
    deep the pin stands, belong to one patient and begin at the ideal place and the whole length.

    Signals
    -------
    changed
        Another tube or pin.
    """

    changed = Signal()

    def __init__(self, tube: Tube, pin: Pin) -> None:
        super().__init__()
        self.source = NumberBox(_LEAST_RAY_MM + 50.0, 1000.0, step=10.0)
        self.behind = NumberBox(0.0, _LEAST_RAY_MM, step=1.0)
        self.above = NumberBox(-60.0, 60.0, step=1.0, unit="°")
        self.mesial = NumberBox(-60.0, 60.0, step=1.0, unit="°")
        self.deep = NumberBox(0.0, 30.0, step=0.5)
        # Nothing is drilled at depth 0: there it stands for each fixture's own length.
        self.deep.setSpecialValueText(str(WHOLE_LENGTH))
        self.out = NumberBox(0.0, 30.0, step=0.5)
        self.thick = NumberBox(0.5, 6.0)
        self.ideal = QPushButton(say("dialogs.film_fields.as-shipped"))
        self.ideal.setAutoDefault(False)
        self.ideal.clicked.connect(lambda _on: self.put(Tube(), Pin(), tell=True))
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(8)
        grid.setVerticalSpacing(4)
        rows: tuple[tuple[tuple[str, NumberBox, str], ...], ...] = (
            (
                (
                    say("dialogs.film_fields.tube-to-film"),
                    self.source,
                    say("dialogs.film_fields.from-the-tubes-focus-to"),
                ),
                (
                    say("dialogs.film_fields.film-behind-axis"),
                    self.behind,
                    say("dialogs.film_fields.from-the-fixtures-axis-to"),
                ),
                (
                    say("dialogs.film_fields.from-above"),
                    self.above,
                    say("dialogs.film_fields.tilt-of-the-ray-minus"),
                ),
                (
                    say("dialogs.film_fields.from-mesial"),
                    self.mesial,
                    say("dialogs.film_fields.turn-of-the-ray-minus"),
                ),
            ),
            (
                (
                    say("dialogs.film_fields.pin-depth"),
                    self.deep,
                    say("dialogs.film_fields.below-the-platform-at-0"),
                ),
                (
                    say("dialogs.film_fields.stands-out"),
                    self.out,
                    say("dialogs.film_fields.of-the-pin-above-the"),
                ),
                ("Pin Ø", self.thick, say("dialogs.film_fields.2-mm-as-shipped")),
            ),
        )
        for line, row in enumerate(rows):
            for place, (words, box, meaning) in enumerate(row):
                name = QLabel(words)
                name.setObjectName("quiet")
                name.setToolTip(meaning)
                box.setToolTip(meaning)
                box.setAccessibleName(f"{words}: {meaning}")
                grid.addWidget(name, line, 2 * place)
                grid.addWidget(box, line, 2 * place + 1)
        grid.addWidget(self.ideal, 1, 6, 1, 2)
        for column in (1, 3, 5, 7):
            grid.setColumnStretch(column, 1)
        self._boxes = (
            self.source, self.behind, self.above, self.mesial, self.deep, self.out, self.thick,
        )  # fmt: skip
        self.put(tube, pin)
        for box in self._boxes:
            box.valueChanged.connect(lambda _value: self.changed.emit())

    @property
    def tube(self) -> Tube:
        """The tube as it stands in the boxes; its source is never within the film."""
        return Tube(
            source_to_film_mm=self.source.value(),
            object_to_film_mm=self.behind.value(),
            up_deg=self.above.value(),
            mesial_deg=self.mesial.value(),
        )

    @property
    def pin(self) -> Pin:
        """The pin as it stands in the boxes."""
        return Pin(
            depth_mm=self.deep.value() or None,
            above_mm=self.out.value(),
            diameter_mm=self.thick.value(),
        )

    @property
    def kept(self) -> tuple[Tube, Pin]:
        """What is the practice's: without what belongs to one patient."""
        tube = replace(self.tube, up_deg=0.0, mesial_deg=0.0)
        return tube, replace(self.pin, depth_mm=None)

    def put(self, tube: Tube, pin: Pin, *, tell: bool = False) -> None:
        """Show another tube and pin; with `tell` as one change."""
        values = (
            tube.source_to_film_mm, tube.object_to_film_mm, tube.up_deg, tube.mesial_deg,
            pin.depth_mm or 0.0, pin.above_mm, pin.diameter_mm,
        )  # fmt: skip
        for box, value in zip(self._boxes, values, strict=True):
            box.blockSignals(True)
            box.setValue(value)
            box.blockSignals(False)
        if tell:
            self.changed.emit()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Return takes a typed number over; it must not press the dialog's button."""
        if event.key() not in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            super().keyPressEvent(event)
