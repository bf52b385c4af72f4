"""What becomes of the answer over values of a few quantities: one tidy table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product
from typing import TYPE_CHECKING, Any

from shutoffsim.errors import ModelError
from shutoffsim.study.compare import compare
from shutoffsim.study.options import Progress

if TYPE_CHECKING:
    import pandas as pd

    from shutoffsim.scenario import Scenario

HISTORIES = 1024
_MOST = 10_000  # combinations


def sweep(
    scenario: Scenario,
    values: Mapping[str, Sequence[Any]],
    designs: Sequence[str] | None = None,
    *,
    inside: str | None = None,
    histories: int = HISTORIES,
    seed: int = 1,
    workers: int = 1,
    progress: Progress | None = None,
) -> pd.DataFrame:
    """Compare designs for every combination of values of some quantities.

    All of them meet the same leaks, outages and people, so that differences are sharp.

    Parameters
    ----------
    scenario : Scenario
        From :func:`shutoffsim.load`.
    values : mapping of str to sequence
        Values to try by key, as in a file: ``{"valve.age": ["5 years", "30 years"]}``.
    designs : sequence of str, optional
        As in :func:`shutoffsim.compare`.
    inside : str, optional
        Name of the only design in which the values are changed; by default in every design.
    histories, seed, workers : int
        Of each combination.
    progress : callable, optional
        Called as ``progress(done, planned)``, in histories of all combinations together.

    Returns
    -------
    pandas.DataFrame
        One row for each combination and design: a column for each key, ``design``, then the columns
        of :meth:`shutoffsim.Comparison.table`.

    Raises
    ------
    ScenarioError
        There is no such key or design, or a value is not allowed.
    ModelError
        A number is out of range, or there is nothing to try.

    Examples
    --------
    >>> import shutoffsim
    >>> scenario = shutoffsim.load("scenarios/holiday_cottage.toml")
    >>> designs = ["no automation", "plus battery"]
    >>> ages = {"valve.age": ["5 years", "30 years"]}
    >>> table = shutoffsim.sweep(scenario, ages, designs, histories=32)
    >>> table[["valve.age", "design"]].values.tolist()[-1]
    ['30 years', 'plus battery']
    """
    import pandas as pd

    for key, tried in values.items():
        if isinstance(tried, str) or not len(tried):
            raise ModelError("values to try are not a list", where=key, found=f"{tried}"[:60])
    combinations = list(product(*values.values()))
    if not values or len(combinations) > _MOST:
        raise ModelError(
            "so many combinations cannot be tried",
            found=f"{len(combinations) if values else 0}",
            expected=f"1 to {_MOST}",
        )
    planned = len(combinations) * histories
    tables = []
    for number, chosen in enumerate(combinations):
        now = dict(zip(values, chosen, strict=True))

        def told(done: int, _planned: int, before: int = number * histories) -> None:
            if progress is not None:
                progress(before + done, planned)

        found = compare(
            scenario.with_values(inside, now, si=False),
            designs,
            histories=histories,
            seed=seed,
            workers=workers,
            progress=told,
        )
        table = found.table().reset_index()
        for place, (key, value) in enumerate(now.items()):
            table.insert(place, key, [value] * len(table))
        tables.append(table)
    return pd.concat(tables, ignore_index=True)
