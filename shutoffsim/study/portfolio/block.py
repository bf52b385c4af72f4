"""A block of dwellings: run their histories, and keep what the portfolio needs of them."""

from __future__ import annotations

import json
import pickle
from dataclasses import asdict, dataclass
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from shutoffsim.engine.guard import TooManyEventsError
from shutoffsim.engine.run import Chunk, Setup, run_chunk
from shutoffsim.errors import Problem, ScenarioError
from shutoffsim.estimate.estimate import t_factor
from shutoffsim.model import layout as L
from shutoffsim.model.elements import NUMBERED
from shutoffsim.study.portfolio.dwellings import Row
from shutoffsim.study.portfolio.settings import Base, Resolver

Array = NDArray[np.float64]
Arrays = dict[str, NDArray[Any]]

DWELLING_BITS = 32  # of a history's number: above these, the number of the dwelling
REGION_BITS = 20  # above these and below the dwelling's, the number of the region
PROBES = 32  # per history: many dwellings share the noise of a few
MOST_HISTORIES = 2**REGION_BITS
MOST_REGIONS = 2 ** (DWELLING_BITS - REGION_BITS)

# What is summed over dwellings, per history and year, in this order.
(DAMAGE, INSURED, LEAKS, DAMAGING, FAILED, COUNTED) = range(6)
SUMS = 6

#: Figures of each dwelling, yearly; money in the scenario's currency.
FIGURES = (
    "expected_annual_damage",
    "std_error",
    "low",
    "high",
    "insured_annual_damage",
    "leaks_per_year",
    "damaging_leaks_per_year",
    "probability_of_failure_on_demand",
    "failure_low",
    "failure_high",
)


@dataclass(frozen=True)
class Question:
    """What is asked of every dwelling.

    Attributes
    ----------
    base : Base
    seed, histories : int
    years : float
        Service life.
    """

    base: Base
    seed: int
    histories: int
    years: float


class Failure(NamedTuple):
    """A dwelling that could not be run, and why.

    Attributes
    ----------
    row : int
        From 1.
    dwelling, key : str
        Its name; the column, or "" when the row as a whole is at fault.
    problem : str
        What is wrong, what was found and what was expected, in several lines.
    """

    row: int
    dwelling: str
    key: str
    problem: str


def run_block(question: Question | bytes, rows: tuple[Row, ...], guard: Any = None) -> Arrays:
    """Run the dwellings of ``rows``.

    Parameters
    ----------
    question : Question or bytes
        Or its pickled form, for which what was resolved is kept from block to block.
    rows : tuple of Row
    guard : record array (1,), optional
        As for :func:`shutoffsim.engine.run.run_chunk`.

    Returns
    -------
    dict of arrays
        ``figures`` (dwellings that ran, len(FIGURES)); ``caps`` their greatest possible losses;
        ``closes`` whether anything fitted there can close; ``ran`` bool (rows,); ``sums``
        (dwellings that ran, histories, SUMS) per year; natural leaks with a loss as ``dwelling``
        (row number), ``region``, ``history``, ``onset`` [s] and ``loss``; ``failures`` as bytes
        of JSON.
    """
    resolver, asked = _unpacked(question) if isinstance(question, bytes) else _resolver(question)
    ran = np.zeros(len(rows), bool)
    sums, natural, failures, caps, closes = [], [], [], [], []
    for place, row in enumerate(rows):
        try:
            params = resolver.record(row)
            chunk = run_dwelling(params, asked, row, guard)
        except ScenarioError as error:
            failures.append(_failure(row, error.problems))
            continue
        except TooManyEventsError as error:
            failures.append(_failure(row, (error.as_problem,)))
            continue
        ran[place] = True
        sums.append(_history_sums(chunk, asked.years))
        caps.append(float(params["damage_loss_cap"][0]))
        closes.append(NUMBERED[params["element_kind"][0]].closes)
        own = chunk.natural[chunk.natural["loss"] > 0.0]
        natural.append((row, own["history"] & (MOST_HISTORIES - 1), own["onset"], own["loss"]))
    stacked = np.array(sums).reshape(-1, asked.histories, SUMS)
    return {
        "figures": _figures(stacked, np.array(caps), np.array(closes, bool)),
        "caps": np.array(caps),
        "closes": np.array(closes, bool),
        "ran": ran,
        "sums": stacked,
        "dwelling": _repeated([row.number for row, *_ in natural], natural),
        "region": _repeated([row.region for row, *_ in natural], natural),
        "history": _joined([part[1] for part in natural], np.int64),
        "onset": _joined([part[2] for part in natural], np.float64),
        "loss": _joined([part[3] for part in natural], np.float64),
        "failures": np.frombuffer(json.dumps(failures).encode(), np.uint8),
    }


def run_dwelling(params: Any, question: Question, row: Row, guard: Any = None) -> Chunk:
    """Run the histories of one dwelling.

    The number of a history holds those of the dwelling, of its region if regions matter, and of
    the history itself, so a dwelling's draws depend on the seed and its row alone. In a region the
    model drops the dwelling's part for weather and mains
    (:func:`shutoffsim.model.streams.of_region`).
    """
    first = row.number << DWELLING_BITS
    if question.base.region:
        first |= row.region << REGION_BITS
    setup = Setup.of(params, question.seed, probes=PROBES)
    return run_chunk(setup, first, question.histories, guard)


def read_failures(arrays: Arrays) -> list[Failure]:
    """Return the failures of a block."""
    return [Failure(*entry) for entry in json.loads(arrays["failures"].tobytes())]


@lru_cache(maxsize=2)
def _unpacked(question: bytes) -> tuple[Resolver, Question]:
    loaded: Question = pickle.loads(question)
    return Resolver(loaded.base), loaded


_resolvers: dict[int, tuple[Resolver, Question]] = {}


def _resolver(question: Question) -> tuple[Resolver, Question]:
    """Return the resolver of a question that lives in this process."""
    kept = _resolvers.get(id(question))
    if kept is None or kept[1] is not question:
        _resolvers.clear()
        kept = _resolvers[id(question)] = (Resolver(question.base), question)
    return kept


def _failure(row: Row, problems: tuple[Problem, ...]) -> Failure:
    texts = []
    for problem in problems:
        plain = Problem(**{**asdict(problem), "where": None, "line": None})
        texts.append(str(plain))
    return Failure(row.number, row.identifier, problems[0].key or "", "\n".join(texts))


def _history_sums(chunk: Chunk, years: float) -> Array:
    rows = chunk.rows[0]
    weight = np.asarray(rows["weight"])
    sums = np.empty((len(rows), SUMS))
    sums[:, DAMAGE] = (weight * rows["mean_loss"]).sum(axis=1)
    sums[:, INSURED] = (weight * rows["mean_insured"]).sum(axis=1)
    sums[:, LEAKS] = weight.sum(axis=1)
    sums[:, DAMAGING] = (weight * (rows["modelled"] > 0.0)).sum(axis=1)
    sums[:, FAILED] = (weight * (rows["mode"] > L.MODE_NONE)).sum(axis=1)
    natural = chunk.natural
    sums[:, COUNTED] = np.bincount(
        natural["history"] - chunk.first, natural["loss"], minlength=len(rows)
    )
    return sums / years


def _figures(sums: Array, caps: Array, closes: NDArray[np.bool_]) -> Array:
    """Return :data:`FIGURES` of dwellings from their sums, intervals between histories.

    Where all histories came to the same damage, their spread says nothing: the interval is the
    bound of :class:`shutoffsim.estimate.tally.Tally`. Where nothing can close, failure is certain.
    """
    count, histories, _ = sums.shape
    out = np.full((count, len(FIGURES)), np.nan)
    mean = sums.mean(axis=1)
    out[:, [0, 4, 5, 6]] = mean[:, [DAMAGE, INSURED, LEAKS, DAMAGING]]
    with np.errstate(invalid="ignore", divide="ignore"):
        share = mean[:, FAILED] / mean[:, LEAKS]
    out[:, 7] = share
    if histories < 2 or count == 0:
        return out
    factor, root = t_factor(histories), np.sqrt(histories)
    error = sums.std(axis=1, ddof=1) / root
    half = factor * error[:, DAMAGE]
    out[:, 1] = error[:, DAMAGE]
    out[:, 2] = np.maximum(mean[:, DAMAGE] - half, 0.0)
    out[:, 3] = mean[:, DAMAGE] + half
    unseen = min(3.0 / histories, 1.0)
    same = (error[:, DAMAGE] <= 1e-12 * mean[:, DAMAGE]) & (mean[:, LEAKS] > 0.0)
    out[same, 1] = np.nan
    out[same, 2] = (1.0 - unseen) * mean[same, DAMAGE]
    out[same, 3] = out[same, 2] + unseen * mean[same, LEAKS] * caps[same]
    # A ratio by linearisation; where nothing, or nothing else, was seen: the rule of three.
    residual = sums[:, :, FAILED] - share[:, None] * sums[:, :, LEAKS]
    with np.errstate(invalid="ignore", divide="ignore"):
        half = factor * residual.std(axis=1, ddof=1) / root / mean[:, LEAKS]
    bound = min(3.0 / histories, 1.0)
    always = share >= 1.0 - 1e-12
    least = np.where(closes, 1.0 - bound, 1.0)
    out[:, 8] = np.where(always, least, np.maximum(share - half, 0.0))
    out[:, 9] = np.where(share <= 0.0, bound, np.minimum(share + half, 1.0))
    return out


def _repeated(numbers: list[int], natural: list[Any]) -> NDArray[np.int64]:
    return np.repeat(np.array(numbers, np.int64), [len(part[1]) for part in natural])


def _joined(pieces: list[Any], kind: type) -> NDArray[Any]:
    return np.concatenate([np.asarray(p, kind) for p in pieces]) if pieces else np.zeros(0, kind)
