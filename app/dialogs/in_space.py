"""A look at the chosen fixture's site in space."""

from __future__ import annotations

from PySide6.QtWidgets import QWidget

from app.background.tasks import Latest, Task
from app.case.session import Session
from app.dialogs.base import Dialog, open_dialog
from app.pictures.space_view import SpaceView
from app.tools.base import Desk
from core.fixture import Fixture
from core.sheet.space_picture import SiteScene, site_scene
from core.words.catalogue import message, say


class InSpaceDialog(Dialog):
    """The site turns under the mouse; it is made by a worker first."""

    heading = message("pictures.space.title")
    accept_words = message("dialogs.in_space.close")
    least_width = 760

    def __init__(
        self, session: Session, desk: Desk, parent: QWidget | None, *, fixture: Fixture
    ) -> None:
        super().__init__(session, desk, parent)
        self.view = SpaceView()
        self.body.addWidget(self.view, 1)
        self.how = self.words(say("dialogs.in_space.is-made"), quiet=True)
        self.cancel.hide()
        self._fixture = fixture
        self._latest = Latest(self._made, self._failed, parent=self)
        self._ask()
        self.resize(self.least_width, 640)
        self.view.setFocus()

    def _ask(self) -> None:
        session, fixture = self.session, self._fixture
        plan, volume, kept = session.plan, session.volume, session.basis
        ledger = session.ledger if session.ledger_is_current else None
        if volume is None:
            return

        def work(_task: Task) -> SiteScene:
            basis = kept.of(plan, volume)
            rows = () if ledger is None else ledger.measurements
            return site_scene(
                plan, volume, basis.arch, levels=basis.levels, fixture=fixture, rows=rows
            )

        self._latest.ask(work)

    def _made(self, scene: SiteScene) -> None:
        self.view.show_scene(scene)
        self.how.setText(say("dialogs.in_space.how"))

    def _failed(self, error: Exception) -> None:
        self.how.setText(str(error))


def show_in_space(session: Session, desk: Desk, parent: QWidget | None) -> Dialog | None:
    """Look at the chosen fixture's site."""
    if session.fixture is None or not session.confirmed:
        desk.say(say("tools.two_sizes.no-fixture"))
        return None
    return open_dialog(InSpaceDialog(session, desk, parent, fixture=session.fixture))
