"""Write a table of invented dwellings: ``python tests/benchmarks/dwellings.py 100000 FILE.csv``."""

from __future__ import annotations

import csv
import random
import sys
from pathlib import Path

COLUMNS = (
    "dwelling",
    "design",
    "region",
    "dwelling.pressure",
    "dwelling.floor_area",
    "dwelling.units_below",
    "valve.age",
    "people.pattern",
    'leaks."water heater".age',
    "leaks.hoses.age",
)
DESIGNS = ("no automation", "sensors and actuator")


def write_dwellings(path: Path, count: int, seed: int = 1) -> None:
    """Write ``count`` dwellings for scenarios/reference_us_house.toml; all values are made up."""
    draw = random.Random(seed)
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(COLUMNS)
        for number in range(1, count + 1):
            writer.writerow(
                (
                    f"house {number}",
                    draw.choice(DESIGNS),
                    f"county {draw.randint(1, 4)}",
                    f"{draw.randint(20, 60) / 10} bar",
                    f"{draw.randint(70, 250)} m2",
                    draw.randint(0, 2),
                    f"{draw.randint(0, 40)} years",
                    draw.choice(("working family", "retired", "")),
                    f"{draw.randint(0, 15)} years",
                    f"{draw.randint(0, 15)} years",
                )
            )


if __name__ == "__main__":
    write_dwellings(Path(sys.argv[2]), int(sys.argv[1]))
