"""A control film taken afterwards: what was read off it, against the plan; kept as own figures."""

from __future__ import annotations

import hashlib

from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLabel, QLineEdit, QWidget

from app.case.attestations import now_iso
from app.case.session import Session
from app.dialogs.base import Dialog, open_dialog
from app.tools.base import Desk
from app.widgets.shared_texts import tooth_words
from core.arch import fixture_frame
from core.errors import OutputError, SoundingError
from core.fixture import Fixture
from core.measuring.control_film import (
    CANAL,
    LEAST_CASES,
    NEIGHBOUR,
    ControlFilm,
    Difference,
    FilmResult,
    canal_on_film_mm,
    compare,
    distance_words,
    figures_of,
    with_result,
)
from core.structures import Course
from core.trust.figures import nearest, up
from core.words.catalogue import message, say

SIDES = ("mesial", "distal")


class ControlFilmDialog(Dialog):
    """Reads a few lengths; shows planned, achieved and the difference; keeps only differences."""

    heading = message("dialogs.control_film.control-film")
    accept_words = message("dialogs.control_film.keep")
    least_width = 640

    def __init__(self, session: Session, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(session, desk, parent)
        self.words(say("dialogs.control_film.as-read-on-the-ordinary"))
        self.fixtures = session.plan.fixtures
        self.fixture = self._choice(
            say("dialogs.control_film.fixture"),
            [
                tooth_words(f.tooth, self.settings.value.numbering) if f.tooth else f.id
                for f in self.fixtures
            ],
        )
        self.neighbour_side = self._choice(say("dialogs.control_film.neighbour"), list(SIDES))
        self.length = self.line(
            say("dialogs.control_film.fixtures-length"),
            hint=say("dialogs.control_film.apex-to-platform"),
        )
        self.neighbour = self.line(
            say("dialogs.control_film.platform-to-neighbour"),
            hint=say("dialogs.control_film.middle-of-the-platform-to"),
        )
        self.canal = self.line(
            say("dialogs.control_film.apex-to-canal"),
            hint=say("dialogs.control_film.to-its-roof-with-a"),
        )
        self.by = self.initials()
        self.found = self.words("")
        self.so_far = self.words("", quiet=True)
        self.words(
            say("dialogs.control_film.kept-in-the-settings-of"),
            quiet=True,
        )
        for box in (self.fixture, self.neighbour_side):
            box.currentIndexChanged.connect(lambda _row: self.check())
        self.check()

    def is_complete(self) -> bool:
        """At least one distance is known on both sides, and somebody says whose it is."""
        return bool(self.by.text().strip()) and bool(self._differences())

    def check(self) -> None:
        """Follow every change: what the film says so far."""
        super().check()
        self.found.setText(self._found_words())
        self.so_far.setText(self._so_far_words())

    def give(self) -> None:
        """Keep the differences, an older film of the same placing replaced.

        Raises
        ------
        OutputError
            When the settings cannot be written.
        """
        by, at = self.take_initials(self.by), now_iso()
        fixture = self._fixture()
        results = self.settings.value.control_films
        for d in self._differences():
            new = FilmResult(
                by=by, at=at, case=self._case(fixture), what=d.what,
                difference_mm=round(d.difference_mm, 3),
            )  # fmt: skip
            results = with_result(results, new)
        self.settings.change(control_films=results)
        self.desk.say(say("dialogs.control_film.control-film-kept"))

    # -- what is planned and what was read --------------------------------------------------

    def _fixture(self) -> Fixture | None:
        row = self.fixture.currentIndex()
        return self.fixtures[row] if 0 <= row < len(self.fixtures) else None

    def _case(self, fixture: Fixture | None) -> str:
        volume = self.session.volume
        series = "" if volume is None else volume.identity.series_uid
        name = f"{series}/{'' if fixture is None else fixture.id}"
        return hashlib.sha256(name.encode("utf-8")).hexdigest()[:16]

    def _planned(self) -> tuple[float | None, float | None]:
        """Planned distances to the neighbour and to the canal, as a film would show them."""
        fixture, arch, ledger = self._fixture(), self.session.arch, self.session.ledger
        if fixture is None or arch is None or ledger is None:
            return None, None
        wanted = f"{fixture.id}/entry/{self.neighbour_side.currentText()}"
        entry = next((m.value for m in ledger.of(fixture.id) if m.id == wanted), None)
        frame = fixture_frame(fixture, arch)
        roofs = [
            roof for s in self.session.plan.structures
            if isinstance(s, Course) and s.kind == "canal"
            and (roof := canal_on_film_mm(fixture, frame, s)) is not None
        ]  # fmt: skip
        return entry, min(roofs, default=None)

    def _film(self) -> ControlFilm | None:
        length = _number(self.length)
        fixture = self._fixture()
        if length is None or fixture is None:
            return None
        return ControlFilm(
            fixture_true_mm=fixture.size.length_mm,
            fixture_on_film=length,
            neighbour_on_film=_number(self.neighbour),
            canal_on_film=_number(self.canal),
        )

    def _differences(self) -> tuple[Difference, ...]:
        try:
            return self._compared()
        except SoundingError:
            return ()

    def _compared(self) -> tuple[Difference, ...]:
        film = self._film()
        if film is None:
            return ()
        neighbour, canal = self._planned()
        return compare(film, neighbour_planned_mm=neighbour, canal_planned_mm=canal)

    # -- words ------------------------------------------------------------------------------

    def _found_words(self) -> str:
        neighbour, canal = self._planned()
        planned = [
            say("dialogs.control_film.planned-not-known", what=what)
            if value is None
            else say("dialogs.control_film.planned", what=what, value=nearest(value, 1))
            for what, value in ((NEIGHBOUR, neighbour), (CANAL, canal))
        ]
        entered = any(line.text().strip() for line in (self.length, self.neighbour, self.canal))
        if not entered:
            return "; ".join(planned)
        bad = [
            line.accessibleName()
            for line in (self.length, self.neighbour, self.canal)
            if line.text().strip() and _number(line) is None
        ]
        if bad:
            return say("dialogs.control_film.a-number-is-wanted", bad="; ".join(bad))
        try:
            found = self._compared()
        except OutputError as refusal:
            return str(refusal)
        return "\n".join(_difference_words(d) for d in found) or "; ".join(planned)

    def _so_far_words(self) -> str:
        by = self.by.text().strip()
        if not by:
            return ""
        films = self.settings.value.control_films
        parts = []
        for what in (CANAL, NEIGHBOUR):
            figures = figures_of(films, by, what)
            count = sum(1 for r in films if (r.by, r.what) == (by, what))
            if figures is None:
                parts.append(
                    say("dialogs.control_film.film", what=distance_words(what), count=count)
                )
                continue
            parts.append(
                say(
                    "dialogs.control_film.films-mean-mm-mean-size",
                    what=what,
                    count=figures.count,
                    mean_mm=nearest(figures.mean_mm, 1),
                    mean_size_mm=up(figures.mean_size_mm, 1),
                    sd_mm=up(figures.sd_mm, 1),
                    worst_mm=up(figures.worst_mm, 1),
                )
            )
        return say(
            "dialogs.control_film.so-far-from-films-of",
            by=by,
            parts="; ".join(parts),
            least_cases=LEAST_CASES,
        )

    def _choice(self, words: str, entries: list[str]) -> QComboBox:
        box = QComboBox()
        box.addItems(entries)
        box.setAccessibleName(words)
        row = QHBoxLayout()
        name = QLabel(words)
        name.setMinimumWidth(150)
        name.setBuddy(box)
        row.addWidget(name)
        row.addWidget(box, 1)
        self.body.addLayout(row)
        return box


def _number(line: QLineEdit) -> float | None:
    text = line.text().strip().replace(",", ".").replace("−", "-")
    try:
        return float(text) if text else None
    except ValueError:
        return None


def _difference_words(d: Difference) -> str:
    value = d.achieved.value
    if value is None:
        return str(distance_words(d.what))
    fields = {
        "what": distance_words(d.what),
        "planned": nearest(d.planned_mm, 1),
        "achieved": nearest(value, 1),
        "u": up(d.budget.expanded, 1),
        "mm": nearest(abs(d.difference_mm), 1),
    }
    if d.difference_mm > 0:
        return say("dialogs.control_film.achieved-further-away", **fields)
    return say("dialogs.control_film.achieved-nearer", **fields)


def ask_control_film(session: Session, desk: Desk, parent: QWidget | None) -> Dialog:
    """Ask for a control film."""
    return open_dialog(ControlFilmDialog(session, desk, parent))
