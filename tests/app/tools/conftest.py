"""One table a test, shown on the screen that is not there."""

from __future__ import annotations

import pytest

from tests.app.tools.table import Table, plan_of_a_jaw


@pytest.fixture
def table(qtbot):
    """Makes a table with a tool on it, in a jaw that may hold more."""

    def make(tool_class, **changes):
        made = Table(tool_class, plan_of_a_jaw(**changes))
        qtbot.addWidget(made)
        with qtbot.waitExposed(made):
            made.show()
        made.section.setFocus()
        return made

    return make
