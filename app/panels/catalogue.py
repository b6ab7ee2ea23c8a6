"""Which panel stands where. A place without one shows nothing.

Places: ``patient line`` (bar at the top), ``log`` (left, above the arch map), ``fixture`` and
``ledger`` (right column), ``ridge profile`` and ``remaining bone`` (bottom, folded until asked
for), ``scan checks`` and ``my sizes`` (folded).
"""

from __future__ import annotations

from app.panels.base import Panel
from app.panels.fixture import FixturePanel
from app.panels.ledger import LedgerPanel
from app.panels.log import Log
from app.panels.my_sizes import MySizes
from app.panels.patient_line import PatientLine
from app.panels.remaining_bone import RemainingBone
from app.panels.ridge_profile import RidgeProfile
from app.panels.scan_checks import ScanChecks

PANELS: dict[str, type[Panel]] = {
    "patient line": PatientLine,
    "log": Log,
    "fixture": FixturePanel,
    "ledger": LedgerPanel,
    "ridge profile": RidgeProfile,
    "remaining bone": RemainingBone,
    "scan checks": ScanChecks,
    "my sizes": MySizes,
}
