"""Files that are nearly right: texts and saved results with one or a few things changed."""

from __future__ import annotations

import copy
import json
import random
import re
from typing import Any

#: What stands in the place of a value.
TOKENS = (
    "0", "-1", "1e308", "-1e308", "1e-320", "1e400", "nan", "inf", "-inf", "true", "[]", "{}", '""',
    "1979-05-27", '"0 s"', '"-5 years"', '"1e300 years"', '"1e400 L/min"', '"nan N*m"', '"0 %"',
    '"100 %"', '"-1 %"', '"never"', '"1 furlong"', '"5,5 N*m"', '"=1+1"', '"\\u0000"', '"\\n"',
    '"😀"', '"' + "x" * 3000 + '"', "0x" + "f" * 400, "9" * 400, '{median = "0 s", spread = 1}',
    '{median = "1 N*m", spread = 1e300}', '{mean = "1 s"}', '{low = "2 s", high = "1 s"}',
    "[[[[]]]]", '"1 s", "2 s"', "'", '"', "}", "]", "#", "=", ".",
    '"1 EUR"', '"1e300 EUR"', '"no limit"',
)  # fmt: skip
CELLS = (
    "", "0", "-1", "1e308", "1e400", "nan", "inf", "-inf", "true", "x", "1,5", "=1+1", "9" * 400,
    "0x10", "1_000", "２", "10 years", "1e300 years", "-5 years", "2026-02-30", "2026-02-30 25:61",
    "9999-12-31T23:59:59Z", "0001-01-01 00:00", "1e30", "😀", "x" * 3000, "a\tb", "\x1b[31m",
    "\\", "'",
    "1e-320", "{median = '1 s', spread = 2}", "[1]", '"', '"a', "\r", " ", "-0", "+5", "1e5 L",
)  # fmt: skip
VALUES: tuple[Any, ...] = (
    None, True, 0, -1, 1, 2**63, -(10**18), 0.5, -0.5, 1e308, -1e308, 5e-324, "", "x", "=1+1", "😀",
    "\u0000", "\n", "x" * 3000, [], {}, [None], {"a": 1}, [[]], [1.0, 2.0],
    "nan", "Infinity",
)  # fmt: skip
RAW = (
    b"\0",
    b"\xff",
    b"\xef\xbb\xbf",
    b"\r",
    b"\n",
    b'"',
    b"[",
    b"{",
    b"#",
    b"\\",
    b"\xe2\x80\xae",
)
_NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?:e-?\d+)?(?![\w])")


def bytes_of(text: str, rng: random.Random) -> bytes:
    """Return a text as bytes, now and then with a damage that knows no letters."""
    data = text.encode("utf-8", "surrogatepass")
    kind = rng.randrange(24)
    at = rng.randrange(len(data) + 1)
    if kind == 0:
        return data[:at]
    if kind == 1:
        return data[:at] + rng.choice(RAW) * rng.choice((1, 1, 50)) + data[at:]
    if kind == 2 and at < len(data):
        return data[:at] + bytes([data[at] ^ (1 << rng.randrange(8))]) + data[at + 1 :]
    if kind == 3:
        return text.encode("utf-16")
    return data


def scaled(text: str, rng: random.Random) -> str:
    """Return a text with one of its numbers changed."""
    found = list(_NUMBER.finditer(text))
    if not found:
        return text
    hit = rng.choice(found)
    factor = rng.choice((0.0, -1.0, 1e-9, 1e-3, 0.1, 0.5, 2.0, 10.0, 1e3, 1e9, 1e30))
    return text[: hit.start()] + f"{float(hit[0]) * factor:.12g}" + text[hit.end() :]


def scenario(text: str, rng: random.Random) -> bytes:
    """Return a scenario with one to three changes."""
    lines = text.split("\n")
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        pairs = [i for i, line in enumerate(lines) if re.match(r"\s*[\w.\"' -]+\s*=", line)]
        at = rng.randrange(len(lines))
        kind = rng.randrange(8)
        if kind == 0 and pairs:
            at = rng.choice(pairs)
            lines[at] = lines[at].partition("=")[0] + "= " + rng.choice(TOKENS)
        elif kind <= 4 and pairs:
            at = rng.choice(pairs)
            head, _, value = lines[at].partition("=")
            lines[at] = f"{head}={scaled(value, rng)}"
        elif kind == 5 and len(pairs) > 1:
            one, other = rng.sample(pairs, 2)
            lines[one] = lines[one].partition("=")[0] + "=" + lines[other].partition("=")[2]
        elif kind == 6:
            del lines[at]
            lines = lines or [""]
        else:
            lines.insert(at, lines[rng.randrange(len(lines))])
    return bytes_of("\n".join(lines), rng)


def table(text: str, rng: random.Random) -> bytes:
    """Return a table of separated values with one to three changes."""
    mark = ";" if text.partition("\n")[0].count(";") else ","
    rows = [line.split(mark) for line in text.rstrip("\n").split("\n")]
    for _ in range(rng.choice((1, 1, 2, 3))):
        at = rng.randrange(len(rows))
        kind = rng.randrange(9)
        cell = rng.randrange(len(rows[at])) if rows[at] else 0
        if kind <= 2 and rows[at]:
            rows[at][cell] = rng.choice(CELLS)
        elif kind <= 4 and rows[at]:
            rows[at][cell] = scaled(rows[at][cell], rng)
        elif kind == 5:
            rows[at].insert(cell, rng.choice(CELLS))
        elif kind == 6 and rows[at]:
            del rows[at][cell]
        elif kind == 7:
            rows.insert(at, list(rows[rng.randrange(len(rows))]))
        elif kind == 8 and len(rows) > 1:
            del rows[at]
    return bytes_of("\n".join(mark.join(row) for row in rows) + "\n", rng)


def result(data: Any, text: str, rng: random.Random) -> bytes:
    """Return a saved result with one to three changes of its structure, or of its text."""
    if rng.randrange(5) == 0:
        return bytes_of(scaled(text, rng), rng)
    changed = copy.deepcopy(data)
    for _ in range(rng.choice((1, 1, 2, 3))):
        place = _place(changed, rng)
        if place is None:
            break
        holder, key = place
        value = holder[key]
        kind = rng.randrange(6)
        if kind == 0:
            del holder[key]
        elif kind == 1 and isinstance(value, list) and value:
            value.append(copy.deepcopy(rng.choice(value)))
        elif kind == 2 and isinstance(value, int | float) and not isinstance(value, bool):
            holder[key] = value * rng.choice((0, -1, 2, 1e6, 1e300))
        elif kind == 3:
            other, name = _place(data, rng) or (data, "format")
            holder[key] = copy.deepcopy(other[name])
        else:
            holder[key] = rng.choice(VALUES)
    return json.dumps(changed, ensure_ascii=False, allow_nan=True).encode("utf-8", "surrogatepass")


def _place(data: Any, rng: random.Random) -> tuple[Any, Any] | None:
    """Return a place of a structure, each depth about as likely as the next."""
    place = None
    while isinstance(data, dict | list) and data and (place is None or rng.random() < 0.75):
        key = rng.choice(list(data)) if isinstance(data, dict) else rng.randrange(len(data))
        place, data = (data, key), data[key]
    return place
