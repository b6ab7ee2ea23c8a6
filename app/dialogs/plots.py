"""Plots of their own window: grey values along a ruler and of the scan, and an uncertainty."""

from __future__ import annotations

from PySide6.QtWidgets import QWidget

from app.case.session import Session
from app.dialogs.base import Dialog, open_dialog
from app.pictures.plot_view import PlotView
from app.tools.base import Desk
from core.measurement import Measurement
from core.measuring.row_names import row_words
from core.pictures.budget_plot import budget_plot
from core.pictures.grey_plots import histogram_plot, ruler_plot
from core.pictures.plot import Plot
from core.words.catalogue import Words, message, say


class PlotDialog(Dialog):
    """A plot, and how it is looked at.

    Parameters
    ----------
    plot : Plot
    stem : str
        Of the names that are proposed for its files.
    """

    heading: Words = message("dialogs.plots.plot")
    accept_words = message("dialogs.plots.close")
    least_width = 720

    def __init__(
        self, session: Session, desk: Desk, parent: QWidget | None, *, plot: Plot, stem: str
    ) -> None:
        self.heading = plot.title
        super().__init__(session, desk, parent)
        if plot.subtitle:
            self.words(plot.subtitle, quiet=True)
        self.plot = PlotView()
        self.plot.files.stem = stem
        self.plot.setMinimumHeight(260)
        self.plot.files.failed.connect(lambda error: self.tell(str(error)))
        self.body.addWidget(self.plot, 1)
        self.plot.files.saved.connect(lambda name: desk.say(say("pictures.plot.saved", path=name)))
        self.words(say("dialogs.plots.how"), quiet=True)
        self.plot.show_plot(plot)
        self.cancel.hide()
        self.resize(self.least_width, 460)


def show_histogram(session: Session, desk: Desk, parent: QWidget | None) -> Dialog | None:
    """How often each grey value of the scan occurs."""
    if session.volume is None:
        return None
    plot = histogram_plot(session.volume, session.window)
    return _shown(session, desk, parent, plot, "grey-values")


def show_grey_along(
    session: Session, desk: Desk, parent: QWidget | None, *, ruler: str = ""
) -> Dialog | None:
    """Grey values along a ruler, the last one where none is named."""
    rulers = {each.id: each for each in session.plan.rulers}
    if session.volume is None:
        return None
    chosen = rulers.get(ruler or next(reversed(rulers), ""))
    if chosen is None:
        desk.say(say("dialogs.plots.no-ruler"))
        return None
    return _shown(session, desk, parent, ruler_plot(session.volume, chosen), chosen.id)


def show_budget(
    session: Session, desk: Desk, parent: QWidget | None, *, row: Measurement
) -> Dialog | None:
    """What the uncertainty of a measurement is made of."""
    name = row_words(row, jaw=session.plan.known_jaw)
    budget = row.budget
    plot = None if budget is None else budget_plot(budget, name=name, unit=row.reading.unit)
    return _shown(session, desk, parent, plot, "uncertainty")


def _shown(
    session: Session, desk: Desk, parent: QWidget | None, plot: Plot | None, stem: str
) -> Dialog | None:
    if plot is None:
        desk.say(say("dialogs.plots.nothing"))
        return None
    return open_dialog(PlotDialog(session, desk, parent, plot=plot, stem=stem))
