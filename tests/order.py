"""Files that take longest begin first: else one worker ends long before the other.

Files are handed out whole, so that what a file makes once is made once. By themselves the workers
would begin with the files of most tests, and the few long journeys would come last.
"""

from __future__ import annotations

LONGEST = (
    "journeys/test_hostile.py",
    "journeys/test_bench_guided.py",
    "app/window/test_first_use.py",
    "journeys/test_sheet_command.py",
    "reference/test_random_jaws.py",
    "reference/test_noisy_scans.py",
    "app/window/test_bench.py",
    "house/test_lint.py",
    "app/panels/test_bad_sites_shown.py",
    "app/panels/test_bone_follows.py",
    "core/measuring/test_row_cache.py",
    "core/measuring/test_bad_sites_told.py",
)
"""From `tests`, the longest first."""


def pytest_collection_modifyitems(items):
    """Tests of a file stay in their order."""

    def rank(item):
        name = item.path.as_posix()
        return next((n for n, end in enumerate(LONGEST) if name.endswith(end)), len(LONGEST))

    items.sort(key=rank)
