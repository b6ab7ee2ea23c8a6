"""What every test shares: no screen, no traces in the user's folders, and a world without Qt."""

from __future__ import annotations

import importlib.abc
import os
import sys

import pytest
from hypothesis import HealthCheck, settings

from tests.order import *  # noqa: F403  a hook
from tests.watchdog import *  # noqa: F403  hooks and fixtures

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

QT = ("PySide6", "shiboken6", "pyqtgraph", "pytestqt")


class NoQt(importlib.abc.MetaPathFinder):
    """Answers every import of Qt as a machine without it would."""

    def find_spec(self, fullname, path=None, target=None):
        if fullname.split(".")[0] in QT:
            raise ModuleNotFoundError(f"No module named {fullname!r}", name=fullname)


if os.environ.get("SOUNDING_WITHOUT_QT") == "1":
    if any(name in sys.modules for name in QT):
        raise RuntimeError("Qt was imported before it could be hidden: run with -p no:pytest-qt")
    sys.meta_path.insert(0, NoQt())

# Examples are drawn from the test's own name: a red run is red again on the next machine.
# The first example may compile kernels, so single examples are not timed.
settings.register_profile(
    "sounding", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("sounding")


@pytest.fixture(autouse=True)
def _own_folders(monkeypatch, tmp_path_factory):
    """Logs and settings of a test go to a folder of the run, never to the user's."""
    home = tmp_path_factory.getbasetemp() / "home"
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME"):
        monkeypatch.setenv(name, str(home / name.lower()))
    # A name or an answer that another test kept would be known here.
    (home / "xdg_config_home" / "sounding" / "settings.json").unlink(missing_ok=True)
