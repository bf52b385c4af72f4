"""Short scenarios for the tests of the language."""

import pytest

from shutoffsim.scenario import loads

SHORT = """
name = "short"
[zones.kitchen]
area = "10 m2"
[leaks.hose]
kind = "appliance hose"
[sensors.floor]
[designs."no automation"]
element.kind = "none"
[designs.clamp]
[designs.battery]
like = "clamp"
battery.fitted = true
"""


@pytest.fixture
def short():
    return loads(SHORT)


@pytest.fixture
def short_text():
    return SHORT
