"""The height at which the arch map is cut: a slider beside it, in mm from the jaw plane."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QSlider, QWidget

from app.case.session import Session
from app.widgets import style
from core.trust.figures import nearest
from core.words.catalogue import say

REACH_MM = 30.0
STEP_MM = 0.5


class HeightSlider(QSlider):
    """Moves the place looked at up and down at its station; all pictures follow it.

    Up on the slider is *up* of the jaw plane. It follows a click that went to another height.
    """

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(Qt.Orientation.Vertical, parent)
        self._session = session
        steps = round(REACH_MM / STEP_MM)
        self.setRange(-steps, steps)
        self.setPageStep(round(5.0 / STEP_MM))
        self.setAccessibleName(say("window.height_slider.name"))
        self.setObjectName("height")
        # A press must not take the arrows away from the pictures.
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.valueChanged.connect(self._moved)
        for signal in (session.scan_changed, session.plan_changed, session.place_changed):
            signal.connect(self.read)
        self.read()

    def sizeHint(self) -> QSize:
        """Slim: the map has the room."""
        return QSize(16, 80)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Up and down move it; what steps along the arch belongs to the bench."""
        if Qt.Key(event.key()) in style.STEPS or style.is_nudge(event):
            event.ignore()
            return
        super().keyPressEvent(event)

    @property
    def height_mm(self) -> float:
        """Over the jaw plane."""
        return self.value() * STEP_MM

    def read(self) -> None:
        """Stand where the pictures look."""
        session = self._session
        level, point = session.guide.level, session.point_mm
        height = 0.0 if level is None or point is None else float(level.height_mm(point)[0])
        self.setEnabled(session.volume is not None and session.arch is not None)
        self.blockSignals(True)
        self.setValue(round(height / STEP_MM))
        self.blockSignals(False)
        self._tell()

    def _moved(self, _value: int) -> None:
        arch = self._session.arch
        if arch is None:
            return
        frame = arch.frame(self._session.station_mm)
        self._session.go_to(point_mm=frame.origin + self.height_mm * arch.level.up)
        self._tell()

    def _tell(self) -> None:
        words = say("window.height_slider.at", mm=nearest(self.height_mm, 1))
        self.setToolTip(words)
        self.setAccessibleDescription(words)
