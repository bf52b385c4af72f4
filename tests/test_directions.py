"""Sensible behaviour: every stated direction holds on common random numbers."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from makers.directions import DIRECTIONS, check_direction, page

PAGE = Path(__file__).resolve().parent.parent / "docs" / "behaviour.md"


@pytest.mark.parametrize("direction", DIRECTIONS, ids=lambda d: d.change)
def test_a_change_moves_the_result_the_right_way(direction):
    outcome = check_direction(direction, seed=5)
    assert outcome.holds, outcome


@pytest.mark.parametrize("direction", DIRECTIONS[::3], ids=lambda d: d.change)
def test_the_opposite_claim_is_rejected(direction):
    """The negative control."""
    assert not check_direction(replace(direction, rises=not direction.rises)).holds


def test_the_page_is_up_to_date():
    assert PAGE.read_text(encoding="utf-8") == page(), "run python docs/refresh.py directions"
