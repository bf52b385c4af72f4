"""What the program gives for many scenarios and designs, as digests: is anything another?"""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
#: Designs of other kinds than those in the scenarios.
ODD = (
    'leaks.hose = {life = "6 years", life_shape = 3, parts = 4, '
    'age = "5 years", replace_at = "8 years"}\n'
    'actuator = {current_limit = "0.5 A", stall_torque = "3 N*m", unit_spread = 0.9, '
    'wear = 1e-4, temperature_derating = "0.4 % per K", ambient = "5 degC", '
    'winding_limit = "60 degC"}\n'
    'exercise.interval = "90 days"\n',
    'leaks.hose = {rate = "4 per year", hole_diameter = "4 mm"}\n'
    'mount = {reaction = "friction", slip_torque = "6 N*m", creep = 0.06}\n'
    'valve = {breakaway = {median = "4 N*m", spread = 2}, stem_limit = "6 N*m"}\n'
    'actuator = {end_of_travel = "not sensed", stall_cutoff = "never", repair = "9 days"}\n'
    'exercise.interval = "60 days"\n',
)


def digest(array: Any) -> str:
    """Return a digest of a record array, field by field, or of any other."""
    text = hashlib.sha256()
    names = array.dtype.names
    for part in [array[name] for name in names] if names else [array]:
        text.update(np.ascontiguousarray(part).tobytes())
    return text.hexdigest()[:16]


def _of_estimates(params: Any, chunks: list[Any]) -> str:
    from shutoffsim.estimate import tally as T

    numbers = []
    for block in (1, 2):
        tally = T.Tally(len(params), 10.0, block)
        for chunk in chunks:
            tally.add(chunk)
        for d in range(len(params))[-2:]:
            for figure in range(T.FIGURES):
                numbers += [
                    tally.mean(d, figure, 0.0),
                    tally.difference(d, figure),
                    tally.share(d, figure),
                ]
            numbers += [tally.volume_quantile(d, share) for share in (0.05, 0.5, 0.95)]
            numbers += [tally.effective_incidents(d), tally.largest_share(d), tally.dropped]
    numbers += [T.block_for(n) for n in (1, 255, 256, 1000)]
    return hashlib.sha256(repr(numbers).encode()).hexdigest()[:16]


def digests() -> Iterator[tuple[str, str]]:
    """Yield names and digests, those first that show most; the same whatever the rules are."""
    sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "rules")]
    from checks import perfect
    from eventful import eventful

    import shutoffsim
    from shutoffsim.engine.run import Setup, run_chunk
    from shutoffsim.model import layout as L
    from shutoffsim.model import quantiles

    def run(
        name: str, params: Any, histories: int, probes: int, first: int = 0, **how: Any
    ) -> Iterator[tuple[str, str]]:
        setup = replace(Setup.of(params, 1, probes=probes), **how)
        chunks = [run_chunk(setup, first, histories)]
        for part in ("rows", "natural", "summary"):
            yield f"{name}, {part}", digest(getattr(chunks[0], part))
        yield f"{name}, cells of the placement", digest(setup.placement.cell_cum)
        yield f"{name}, shares of the placement", digest(setup.placement.share_cum)
        yield f"{name}, estimates", _of_estimates(params, chunks)

    scenarios = {path.stem: path for path in sorted((ROOT / "scenarios").glob("*.toml"))}
    for name, path in scenarios.items():
        yield f"{name}, parameters", digest(shutoffsim.load(path).parameters())
    params = eventful(60.0)
    yield "eventful, parameters", digest(params)
    yield from run("eventful", params, 4, 6)
    yield from run("odd", perfect(*ODD, life="3000 days").parameters(), 3, 12)
    yield from run("eventful, looked at harder", params, 2, 4, 40, extra=8, tilt=True)
    for name, path in scenarios.items():
        params = shutoffsim.load(path).parameters()[[0, -1]]
        params["service_life"] = 2 * L.YEAR
        for field in ("source_rate", "source_parts"):
            params[field] *= 50.0
        yield from run(name, params, 1, 6)
    params = eventful(60.0)[:1]
    params["region"] = 1
    yield from run("eventful, of a region", params, 1, 4, (3 << 32) + 5)
    u = np.array([1e-12, 0.004, 0.1, 0.3, 0.5, 0.77, 0.98, 1 - 1e-12])
    laws = [(kind, 0.5, 1.0, 2.0) for kind in range(6)]
    values = [quantiles.quantile(law, x) for law in laws for x in u]
    yield "laws", digest(np.array(values))
