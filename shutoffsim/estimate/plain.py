"""Results as plain data: one walk for all that is written as JSON."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any


def plain(value: Any) -> Any:
    """Return a result as what JSON can hold; numbers that are unknown or infinite become None.

    A dataclass becomes a dict of its fields in their order, as long as ``repr`` shows them; the
    metadatum ``key`` of a field renames it. A class with a method ``as_dict`` decides for itself.

    Parameters
    ----------
    value : object
        Dataclass, named tuple, mapping, sequence, numpy array, pandas table, number, text or None.

    Examples
    --------
    >>> plain({"a": (1, math.inf)})
    {'a': [1, None]}
    """
    if hasattr(value, "as_dict"):
        return value.as_dict()
    if is_dataclass(value):
        return plain_fields(value)
    if hasattr(value, "_asdict"):
        value = value._asdict()
    elif hasattr(value, "to_dict"):  # a table
        value = value.to_dict("records")
    elif hasattr(value, "tolist"):
        value = value.tolist()
    if isinstance(value, Mapping):
        return {key: plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def plain_fields(value: Any) -> dict[str, Any]:
    """Return the fields of a dataclass as plain data, for its own ``as_dict``."""
    return {
        known.metadata.get("key", known.name): plain(getattr(value, known.name))
        for known in fields(value)
        if known.repr
    }
