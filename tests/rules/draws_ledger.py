"""A ledger of all draws of a run: which number was taken where, for whom, in whose life.

Run as a program without compilation (``NUMBA_DISABLE_JIT=1``): :func:`ledger_of` puts a clerk
between the streams and the function that all random numbers pass through.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from dataclasses import dataclass, field
from typing import Any

from shutoffsim.engine import batch
from shutoffsim.engine.run import Setup, run_chunk
from shutoffsim.model import layout as L
from shutoffsim.model import streams

#: Functions that only hand a number on; whoever calls them has the purpose.
_GO_BETWEEN = ("bits", "uniform", "even_uniform")


@dataclass(frozen=True)
class Draw:
    """One number that was taken."""

    seed: int
    history: int
    stream: int
    count: int
    place: str  # function and position of the call that wanted it
    leak: int  # key of the leak that it is about; -1: none
    sensor: int  # number of the sensor that it is about; -1: none
    now: float  # s; nan where the place does not know the time
    life: tuple[int, int, int]  # design, history, number of the fork (-1: the history itself)

    @property
    def key(self) -> tuple[int, int, int, int]:
        return self.seed, self.history, self.stream, self.count

    @property
    def function(self) -> str:
        return self.place.partition(" ")[0]


@dataclass
class Clerk:
    """Notes draws while a run goes on."""

    draws: list[Draw] = field(default_factory=list)
    fork: int = -1
    forked: dict[tuple[int, int, int], int] = field(default_factory=dict)
    design: int = 0
    history: int = 0

    def note(self, seed: Any, history: Any, stream: Any, count: Any) -> None:
        frame = sys._getframe(2)
        while frame.f_code.co_name in _GO_BETWEEN or frame.f_code.co_name.endswith("_draw"):
            assert frame.f_back is not None
            frame = frame.f_back
        place = f"{frame.f_code.co_name} {frame.f_lasti}"
        known = frame.f_locals
        leak, sensor = -1, int(known.get("k", -1)) if "slot" in known else -1
        if "key" in known:
            leak = int(known["key"])
        elif "slot" in known:
            leak = int(known["s"].leak_key[known["slot"]])
        self.draws.append(
            Draw(
                int(seed),
                int(history),
                int(stream),
                int(count),
                place,
                leak,
                sensor,
                float(known.get("now", "nan")),
                (self.design, self.history, self.fork),
            )
        )


def ledger_of(params: Any, seed: int, first: int, n: int, probes: int, **how: Any) -> Clerk:
    """Run histories of each design, uncompiled, and return the clerk who watched."""
    assert batch.run_probe.__class__.__name__ == "function", "run this without compilation"
    clerk = Clerk()
    bits, run_probe, place_probes = streams.bits, batch.run_probe, batch.place_probes

    def noted_bits(seed: Any, history: Any, stream: Any, count: Any) -> Any:
        clerk.note(seed, history, stream, count)
        return bits(seed, history, stream, count)

    def noted_placing(cuts: Any, cells: Any, cell: Any, key: Any, history: Any, out: Any) -> None:
        clerk.history = int(history)  # a history begins with placing its probes
        place_probes(cuts, cells, cell, key, history, out)

    def noted_probe(
        p: Any, s: Any, times: Any, delay: Any, source: Any, key: Any, *rest: Any
    ) -> Any:
        clerk.fork = int(key)
        clerk.forked[clerk.design, clerk.history, clerk.fork] = len(clerk.draws)
        try:
            return run_probe(p, s, times, delay, source, key, *rest)
        finally:
            clerk.fork = -1

    streams.bits, batch.run_probe, batch.place_probes = noted_bits, noted_probe, noted_placing
    try:
        for design in range(len(params)):
            clerk.design = design
            setup = Setup.of(params[design : design + 1], seed, probes=probes)
            setup = type(setup)(**{**setup.__dict__, **how})
            for history in range(first, first + n):
                run_chunk(setup, history, 1)
    finally:
        streams.bits, batch.run_probe, batch.place_probes = bits, run_probe, place_probes
    return clerk


def lives(clerk: Clerk) -> dict[tuple[int, int, int], list[Draw]]:
    """Return the draws of each life in order; a fork has lived its history's until it began."""
    by_life: dict[tuple[int, int, int], list[Draw]] = defaultdict(list)
    own: dict[tuple[int, int, int], list[tuple[int, Draw]]] = defaultdict(list)
    for number, draw in enumerate(clerk.draws):
        own[draw.life].append((number, draw))
    for life, draws in own.items():
        design, history, fork = life
        before: list[Draw] = []
        if fork >= 0:
            began = clerk.forked[life]
            before = [d for n, d in own[design, history, -1] if n < began]
        by_life[life] = before + [d for _, d in draws]
    return by_life


assert L.EVERY_LEAK == -1  # what stands for "no fork" above
