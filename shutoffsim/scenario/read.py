"""From a file to tables: everything that can be said before the contents are looked at."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path as FilePath
from typing import Any, NoReturn

from shutoffsim.errors import Problem, ScenarioError
from shutoffsim.scenario.structure import Path

LARGEST_FILE = 1_000_000  # bytes
DEEPEST = 32  # parts of a dotted key
LARGEST_WHOLE = 2**63  # as TOML has it
_KEY = r'"(?:[^"\\]|\\.)*"|\'[^\']*\'|[A-Za-z0-9_-]+'
_HEADER = re.compile(rf"^\s*\[\s*((?:{_KEY})(?:\s*\.\s*(?:{_KEY}))*)\s*\]")
_ENTRY = re.compile(rf"^\s*((?:{_KEY})(?:\s*\.\s*(?:{_KEY}))*)\s*=")
# Every text, comment and key, one after the other; what is not closed ends with its line.
_PART = r'"(?:[^"\\\n]|\\.)*+"?|\'[^\'\n]*+\'?|[A-Za-z0-9_-]++'
_SPOKEN = re.compile(
    r"#[^\n]*+"
    r'|(?s:"""(?:[^"\\]|\\.|"(?!""))*+(?:""")?)'
    r"|'{3}(?:[^']|'(?!''))*+(?:'{3})?"
    rf"|(?P<key>(?:{_PART})(?:[ \t]*+\.[ \t]*+(?:{_PART}))*+)"
)
_LINE = re.compile(r"at line (\d+)")


def read_text(path: FilePath) -> str:
    """Text of a scenario file.

    Raises
    ------
    ScenarioError
        When there is no such file, or it is not a text of a sensible size.
    """
    where = str(path)
    expected = "a scenario file, such as holiday_cottage.toml"
    try:
        if path.is_dir():
            _refuse(where, "this is a folder", expected, "name a file in it")
        if not path.exists():
            _refuse(where, "there is no such file", expected, "check the spelling and the folder")
        size = path.stat().st_size
        if size > LARGEST_FILE:
            _refuse(where, f"the file is too big ({size} bytes)", f"at most {LARGEST_FILE} bytes")
        data = path.read_bytes()
    except (OSError, ValueError) as error:
        _refuse(where, "the file cannot be read", expected, found=str(error))
    return decode(data, where)


def decode(data: bytes, where: str) -> str:
    """Bytes as UTF-8 text.

    Raises
    ------
    ScenarioError
        When they are something else.
    """
    if len(data) > LARGEST_FILE:
        _refuse(where, "the text is too big", f"at most {LARGEST_FILE} bytes")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        _refuse(
            where,
            "this is not a text in UTF-8",
            "plain text",
            "save it as UTF-8 in an editor",
            found=f"byte {data[error.start]:#04x} at position {error.start}",
        )
    if "\0" in text:
        _refuse(where, "this is a binary file", "plain text")
    return text


def read_tables(text: str, where: str) -> dict[str, Any]:
    """Tables of a TOML text.

    Raises
    ------
    ScenarioError
        When it is empty or not TOML; with the line.
    """
    if not text.strip():
        _refuse(where, "the file is empty", "a scenario", "start from the starter scenario")
    text = text.replace("\r\n", "\n")
    _check_depth(text, where)
    try:
        tables = tomllib.loads(text)
        _check_numbers(tables, where)
        return tables
    except tomllib.TOMLDecodeError as error:
        message = str(error)
        match = _LINE.search(message)
        lines = text.rstrip().split("\n")
        line = int(match[1]) if match else len(lines)
        what = re.sub(r"\s*\(at .*\)$", "", message)
        hint = "put texts in quotes and write key = value"
        if "overwrite" in what or "twice" in what or "Cannot declare" in what:
            what, hint = f"the same name is used twice ({what})", "keep one of the two"
        shown = lines[line - 1].strip()[:100] if line <= len(lines) else None
        problem = Problem(
            f"this is not TOML: {what}" if "twice" not in what else what,
            where=where,
            line=line,
            found=shown,
            expected="TOML, see the scenario reference",
            hint=hint,
        )
        raise ScenarioError([problem]) from None
    except (RecursionError, ValueError, OverflowError) as error:
        _refuse(where, "this is not TOML", "TOML", found=str(error)[:100])


def _check_depth(text: str, where: str) -> None:
    """Refuse keys of very many parts: reading them takes time with the square of their number."""
    for match in _SPOKEN.finditer(text):
        key = match["key"]
        if key is None or len(key) <= 2 * DEEPEST or len(re.findall(_PART, key)) <= DEEPEST:
            continue
        problem = Problem(
            f"a key of more than {DEEPEST} parts",
            where=where,
            line=text.count("\n", 0, match.start()) + 1,
            found=key[:60],
            expected="keys as in the scenario reference",
        )
        raise ScenarioError([problem])


def _check_numbers(table: Any, where: str) -> None:
    """Refuse whole numbers that TOML does not have to know, which may be endless to write out."""
    entries = table.values() if isinstance(table, dict) else table
    for value in entries:
        if isinstance(value, dict | list):
            _check_numbers(value, where)
        elif isinstance(value, int) and not -LARGEST_WHOLE <= value < LARGEST_WHOLE:
            _refuse(where, "a whole number is too large", "numbers of at most 18 digits")


def find_lines(text: str) -> dict[Path, int]:
    """Line of each table and key, by a quick scan that ignores what is inside values."""
    found: dict[Path, int] = {}
    header: Path = ()
    for number, line in enumerate(text.splitlines(), start=1):
        match = _HEADER.match(line)
        if match:
            header = _split(match[1])
            found.setdefault(header, number)
            continue
        match = _ENTRY.match(line)
        if match:
            found.setdefault((*header, *_split(match[1])), number)
    return found


def line_of(path: Path, lines: dict[Path, int]) -> int | None:
    """Line of a key, or of the table that it stands in."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return None


def _split(dotted: str) -> Path:
    return tuple(key[1:-1] if key[0] in "\"'" else key for key in re.findall(_KEY, dotted))


def _refuse(
    where: str, message: str, expected: str, hint: str | None = None, found: str | None = None
) -> NoReturn:
    raise ScenarioError(
        [Problem(message, where=where, found=found, expected=expected, hint=hint)]
    ) from None
