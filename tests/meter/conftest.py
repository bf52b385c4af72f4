"""Short records, written where a test can find them."""

import gzip
import itertools

import pytest

from shutoffsim.study.meter import analyse_meter


@pytest.fixture
def analyse(tmp_path):
    """Analyse a text, bytes or lines as a record."""
    numbers = itertools.count()

    def run(content, *, packed=False, **options):
        if isinstance(content, list):
            content = "\n".join(content) + "\n"
        data = content.encode() if isinstance(content, str) else content
        path = tmp_path / f"record{next(numbers)}.csv"
        path.write_bytes(gzip.compress(data) if packed else data)
        return analyse_meter(path, **options)

    return run
