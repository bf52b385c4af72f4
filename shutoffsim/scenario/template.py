"""A first scenario to change."""

from __future__ import annotations

_STARTER = """\
# A scenario: a dwelling, where it may leak, and the designs to compare.
# What is left out has a default; the scenario reference lists all keys, the list of defaults says
# where each value comes from. Every physical value is a text: a number, a space, a unit.

name = "My dwelling"
currency = "EUR"                  # three letters; amounts are not converted
service_life = "10 years"

[dwelling]
floor_area = "80 m2"
units_below = 1                   # flats below that water can reach
full_bore_flow = "30 L/min"       # measure it: fully open tap near the valve, bucket, watch
full_bore_pressure = "3.5 bar"

[zones]
kitchen.area = "12 m2"
bathroom.area = "6 m2"

[people]
pattern = "working family"        # or "retired", "often empty", "always somebody", "clinic hours"

# Where water may escape. A kind gives the rate, the flow and the rest; state what you know better.
[leaks."washing machine hose"]
kind = "appliance hose"
zone = "bathroom"
age = "6 years"

[leaks."sink hoses"]
kind = "flexible hose"
zone = "kitchen"
parts = 2

[leaks."pipe joints"]
kind = "pipe joint"
zone = "bathroom"

[sensors.kitchen]
zone = "kitchen"
[sensors.bathroom]
zone = "bathroom"

[valve]
type = "lever ball DN15"
age = "15 years"
# A value that varies: half of such valves need more than 4 N*m when new, and two thirds lie
# within a factor of 1.8 of that. Measure yours and write a plain value instead.
breakaway = {median = "4 N*m", spread = 1.8}

[actuator]
class = "geared motor, 10 N*m"

# The designs. Each changes only what it names; the first is the reference.
[designs."no automation"]
element.kind = "none"

[designs."mains only"]

[designs."plus battery"]
like = "mains only"               # starts from that design's changes
battery.fitted = true

[designs."plus quick release"]
like = "plus battery"
mount.kind = "quick release, metal"
"""


def starter() -> str:
    """A short scenario with comments, as TOML text.

    Returns
    -------
    str
        A text that loads as it is.

    Examples
    --------
    >>> from shutoffsim.scenario import loads
    >>> loads(starter()).reference
    'no automation'
    """
    return _STARTER
