"""What makes pages and kept files from the program; ``python docs/refresh.py`` runs it.

Each part has a module with ``files()``, which yields what should stand in each file of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"

#: Files, each with what should stand in it.
Files = Iterator[tuple[Path, bytes]]
