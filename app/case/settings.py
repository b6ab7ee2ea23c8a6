"""The settings in force, and their file in the user's settings folder; never in a plan.

A settings file that cannot be read never stops the work: the shipped value stands in for each
setting that cannot be read, the file is kept beside it, and the trouble is told. Two windows
write key by key: what the other one set meanwhile stays.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from platformdirs import user_config_path
from PySide6.QtCore import QLockFile, QObject, Signal

from app.case.own_files import KeptFileError, private_folder, read_kept, write_private
from app.case.settings_table import FORM, settings_of_document, to_text
from app.case.settings_value import Settings
from core.errors import OutputError, SoundingError
from core.plans.limits import row_for
from core.plans.plan import ChangedLimit, Plan
from core.words.catalogue import say

WAIT_MS = 3_000


class SettingsStore(QObject):
    """The settings in force, and the file that they live in.

    Parameters
    ----------
    path : Path, optional
        The file; the user's settings folder when left out.
    """

    changed = Signal()

    def __init__(self, parent: QObject | None = None, path: Path | None = None) -> None:
        super().__init__(parent)
        self.path = settings_file() if path is None else path
        self.trouble = ""
        """A sentence where something could not be read; shown by the first screen."""
        self.value = self._read()

    def change(self, **changes: Any) -> None:
        """Change some settings and write them; others that another window wrote are taken over.

        Raises
        ------
        OutputError
            When the file cannot be written; the change holds until the program ends.
        """
        with self._writing():
            stood, others = self._on_disk()
            self.value = replace(stood, **_merged(self.value, stood, changes))
            self.changed.emit()
            write_private(self.path, to_text(self.value, others).encode("utf-8"))

    def remember(self, **changes: Any) -> None:
        """`change` for what is only convenient: where it cannot be written it holds for now."""
        with contextlib.suppress(OutputError):
            self.change(**changes)

    def _on_disk(self) -> tuple[Settings, dict[str, Any]]:
        """What the file holds now; what is in force where it holds nothing that can be read."""
        try:
            document = read_kept(self.path, FORM)
        except (FileNotFoundError, KeptFileError):
            return self.value, {}
        stood, unread = settings_of_document(document)
        return (self.value if unread else stood), document

    @contextlib.contextmanager
    def _writing(self) -> Iterator[None]:
        # Where no folder can be made there is no lock either; writing says so itself.
        with contextlib.suppress(OutputError):
            private_folder(self.path.parent)
        lock = QLockFile(str(self.path.with_suffix(".lock")))
        lock.setStaleLockTime(0)
        lock.tryLock(WAIT_MS)
        try:
            yield
        finally:
            lock.unlock()

    def _read(self) -> Settings:
        try:
            document = read_kept(self.path, FORM)
        except FileNotFoundError:
            return Settings()
        except KeptFileError as error:
            self._keep("settings-unread", reason=error.fields["reason"])
            return Settings()
        settings, unread = settings_of_document(document)
        if unread:
            self._keep("settings-partly-unread", which=", ".join(unread))
        return settings

    def _keep(self, code: str, **fields: object) -> None:
        kept = self.path.with_suffix(".unread.json")
        with contextlib.suppress(OSError, OutputError):
            write_private(kept, self.path.read_bytes())
        self.trouble = str(SoundingError(code, kept=kept, **fields))


def _merged(before: Settings, stood: Settings, changes: dict[str, Any]) -> dict[str, Any]:
    """Changes made on `before`, put onto what stands on the disk by now."""
    merged = {key: value for key, value in changes.items() if value != getattr(before, key)}
    if "limits" in merged:
        mine, base = dict(merged["limits"]), dict(before.limits)
        touched = {key for key in mine.keys() | base.keys() if mine.get(key) != base.get(key)}
        others = {key: v for key, v in stood.limits.items() if key not in touched}
        merged["limits"] = others | {key: mine[key] for key in touched if key in mine}
    if "control_films" in merged:
        films, base_films = tuple(merged["control_films"]), before.control_films
        added = [f for f in films if f not in base_films]
        gone = [f for f in base_films if f not in films]
        stay = [f for f in stood.control_films if f not in gone and f not in added]
        merged["control_films"] = (*stay, *added)
    return merged


def settings_of(owner: QObject) -> SettingsStore:
    """The store that belongs to a session; made at the first call, one an owner."""
    found = owner.findChild(SettingsStore)
    return SettingsStore(owner) if found is None else found


def settings_file() -> Path:
    """Where the settings are kept."""
    return user_config_path("sounding", appauthor=False) / "settings.json"


def with_practice_limits(plan: Plan, settings: Settings, *, at: str) -> Plan:
    """A new plan with the practice's limits, each as a change with who, when and why."""
    changed = {
        key: ChangedLimit(
            value=value,
            by=say("case.settings.practice-settings"),
            at=at,
            reason=say("case.settings.practice-limit"),
        )
        for key, value in settings.limits.items()
        if value != row_for(key).value
    }
    return replace(plan, limits={**changed, **plan.limits}) if changed else plan
