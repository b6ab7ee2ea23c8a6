"""The maker of rows for one fixture or site: one way to make it, so that nothing is left out.

Ledger and table of sizes judge by the same doubts and the same hindrances because both begin here.
"""

from __future__ import annotations

from core.fixture import Fixture
from core.identity import Tooth
from core.measuring.basis import Basis, RowMaker
from core.measuring.hindrances import hindrances_at, image_sd_mm
from core.plans.plan import Plan, Site
from core.trust.uncertainty import Placement


def maker_at(plan: Plan, basis: Basis, subject: Fixture | Site, placement: Placement) -> RowMaker:
    """Make the maker of rows of a fixture or site.

    Parameters
    ----------
    plan : Plan
    basis : Basis
        Of this plan and its scan.
    subject : Fixture or Site
    placement : Placement
        The doubt of the hand that marked; see `core.trust.operator_precision.placement_of`.
    """
    return RowMaker(
        plan=plan,
        volume=basis.volume,
        subject=subject.id,
        is_fixture=isinstance(subject, Fixture),
        tooth=Tooth.of(subject.tooth) if subject.tooth else None,
        hindrances=hindrances_at(plan, basis, subject),
        image_sd_mm=image_sd_mm(basis, subject),
        platform=subject.platform if isinstance(subject, Fixture) else None,
        placement=placement,
        scale=basis.scale.scale,
    )
