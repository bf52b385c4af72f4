"""Files of readings, written where a test can find them."""

import itertools

import pytest

from shutoffsim.scenario import loads
from shutoffsim.scenario import starter as template
from shutoffsim.study.fit_torque import fit_torque


@pytest.fixture(scope="session")
def starter():
    return loads(template())


@pytest.fixture
def write(tmp_path):
    numbers = itertools.count()

    def run(content):
        data = content.encode() if isinstance(content, str) else content
        path = tmp_path / f"readings{next(numbers)}.csv"
        path.write_bytes(data)
        return path

    return run


@pytest.fixture
def fit(write):
    """Fit what a text, as a file, says."""

    def run(content, *args, **options):
        return fit_torque(write(content), *args, **options)

    return run
