"""What tests of meter records share: counts by rule, and a made-up year of flow at 1 s."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv as arrow_csv

from shutoffsim.study.meter import MeterReport

START = np.datetime64("2023-01-01T00:00:00", "s")


def flows(days: int, seed: int = 1) -> np.ndarray:
    """Flow [L/min] for each second: about forty uses a day, some with short pauses."""
    draws = np.random.default_rng(seed)
    flow = np.zeros(days * 86_400, np.float32)
    for start in draws.integers(0, len(flow), 40 * days):
        length = int(draws.exponential(60.0)) + 1
        flow[start : start + length] = round(float(draws.uniform(1.0, 12.0)), 1)
    return flow


def write(path: Path, flow: np.ndarray) -> None:
    """Write a record of flow samples, a day at a time."""
    schema = pa.schema([("time", pa.timestamp("s")), ("flow_l_per_min", pa.float32())])
    options = arrow_csv.WriteOptions(quoting_style="none")
    with arrow_csv.CSVWriter(path, schema, write_options=options) as writer:
        for first in range(0, len(flow), 86_400):
            part = flow[first : first + 86_400]
            times = START + np.arange(first, first + len(part))
            writer.write_table(pa.table([pa.array(times), pa.array(part)], schema=schema))


def counts(report: MeterReport, gap: str) -> dict[str, int]:
    """Trips of the rules with a time limit."""
    table = report.trips
    chosen = table[(table["gap"] == gap) & table["rule"].str.startswith("longer")]
    return dict(zip(chosen["rule"].str.removeprefix("longer than "), chosen["count"], strict=True))
