"""The one place that names the program and its version."""

from __future__ import annotations

VERSION = "0.1.0"
PROGRAM = f"Sounding {VERSION}"
