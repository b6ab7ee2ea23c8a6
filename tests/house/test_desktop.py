"""What a desktop needs of the program beside its window: an icon, an entry, what changed."""

from __future__ import annotations

import configparser
import tomllib
from pathlib import Path

from PySide6.QtGui import QIcon

from app.window.program import ICON
from core.version import VERSION

ROOT = Path(__file__).parents[2]


def test_the_icon_can_be_drawn(qapp):
    assert QIcon(str(ICON)).pixmap(64, 64).toImage().pixelColor(32, 32).alpha() == 255


def test_the_desktop_entry_starts_a_command_that_is_installed():
    entry = configparser.ConfigParser(interpolation=None)
    entry.optionxform = str
    entry.read(ROOT / "app" / "sounding.desktop", encoding="utf-8")
    said = entry["Desktop Entry"]
    scripts = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["scripts"]
    assert said["Exec"].split()[0] in scripts
    assert said["Icon"] == "sounding"
    assert {"Type", "Name", "Exec", "Categories"} <= set(said)


def test_what_changed_in_this_version_is_told():
    told = (ROOT / "app" / "CHANGELOG.md").read_text("utf-8")
    assert f"## {VERSION}" in told
