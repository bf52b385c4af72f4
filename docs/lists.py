"""Write the lists that pages take from the program: commands, closing elements, failure modes.

Run it from a checkout after a change of one of them::

    python docs/lists.py

A page asks for a list with a comment above a table::

    <!-- list: failure modes -->

The tests make the same lists and compare, so no list misses a member.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Literal, get_args, get_origin, get_type_hints

from shutoffsim.model.modes import Known, Stage

ROOT = Path(__file__).resolve().parent.parent
_LIST = re.compile(r"(<!-- list: (.*?) -->\n)(.*?)(?=<!-- end of list -->)", re.DOTALL)


def commands() -> Iterator[str]:
    """Yield each command with what it is for, its arguments and its options."""
    import typer.main

    from shutoffsim.cli import app

    group: Any = typer.main.get_command(app)
    for name, command in group.commands.items():
        hints = get_type_hints(inspect.unwrap(command.callback), include_extras=True)
        arguments = [p for p in command.params if p.param_type_name == "argument"]
        yield f"## {name}"
        yield ""
        yield command.help.split("\n\n")[0]
        yield ""
        yield "```"
        yield " ".join(["shutoffsim", name, *map(_argument, arguments)])
        yield "```"
        yield ""
        yield "| argument or option | what for |"
        yield "|---|---|"
        for p in command.params:
            if p.name in hints:
                shown = _argument(p) if p in arguments else _option(p, hints[p.name])
                yield f"| `{shown}` | {_cell(p.help or '')} |"
        yield ""


def _argument(p: Any) -> str:
    return _cell(p.metavar if p.required else f"[{p.metavar}]")


def _option(p: Any, hint: Any) -> str:
    choices = _literals(hint)
    value = "" if p.is_flag else p.metavar or "/".join(choices)
    return f"{'/'.join([*p.opts, *p.secondary_opts])} {value}".rstrip()


def _literals(hint: Any) -> tuple[str, ...]:
    """Return the choices of a ``Literal`` somewhere in a type."""
    if get_origin(hint) is Literal:
        return get_args(hint)
    return next(filter(None, map(_literals, get_args(hint))), ())


def closing_elements() -> Iterator[str]:
    """Yield the traits of each closing element."""
    from shutoffsim.model.elements import ELEMENTS
    from shutoffsim.report.elements import WORDS

    yield "| `element.kind` | what is fitted | moved by | on the existing valve | without power |"
    yield "|---|---|---|---|---|"
    for kind, element in ELEMENTS.items():
        place = "clamped on" if element.clamped else "replaced" if element.own_valve else "left"
        yield (
            f"| `{kind}` | {WORDS[kind].fitted} | {element.drive} | {place} | {element.unpowered} |"
        )


def failure_modes() -> Iterator[str]:
    """Yield each failure mode in words, in the order of the chain."""
    from shutoffsim.model.modes import FAILURE_MODES
    from shutoffsim.report.modes import MODES

    yield "| failure mode | what happened | what makes it rarer |"
    yield "|---|---|---|"
    for mode in FAILURE_MODES:
        yield f"| {mode} | {MODES[mode].happened} | {MODES[mode].remedy} |"


def links() -> Iterator[str]:
    """Yield the traits of each link of the chain."""
    from shutoffsim.model.modes import FAILURE_MODES

    yield "| link | hangs on | a failed closing is known | what is mended after the incident |"
    yield "|---|---|---|---|"
    for name, mode in FAILURE_MODES.items():
        yield f"| {name} | {_STAGES[mode.stage]} | {_KNOWN[mode.known]} | {mode.mends} |"


def figures() -> Iterator[str]:
    """Yield the figures of a design."""
    from shutoffsim.study.compare import FIGURES

    yield "| key | meaning |"
    yield "|---|---|"
    for name, figure in FIGURES.items():
        yield f"| `{name}` | {figure.meaning} |"


_STAGES: dict[Stage, str] = {
    "earlier": "what comes before the closing element",
    "element": "the closing element",
    "torque": "torque",
    "time": "time",
}
_KNOWN: dict[Known, str] = {
    "always": "always",
    "at cut-off": "where current is cut off at stall",
    "by feedback": "by feedback alone",
}

LISTS: dict[str, Callable[[], Iterator[str]]] = {
    "commands": commands,
    "closing elements": closing_elements,
    "failure modes": failure_modes,
    "links": links,
    "figures": figures,
}


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "/")


def listed(text: str) -> set[str]:
    """Return the names of the lists that a page asks for."""
    return {match[2] for match in _LIST.finditer(text)}


def renew(text: str) -> str:
    """Return a page with all its lists made anew."""
    return _LIST.sub(lambda m: m[1] + "\n" + "\n".join(LISTS[m[2]]()).rstrip() + "\n\n", text)


def pages() -> list[Path]:
    """Return the pages that may ask for lists."""
    return sorted((ROOT / "docs").glob("*.md"))


def main() -> None:
    """Renew the lists of all pages."""
    for page in pages():
        before = page.read_text(encoding="utf-8")
        after = renew(before)
        if after != before:
            page.write_text(after, encoding="utf-8")
            print(f"renewed {page.relative_to(ROOT)}")


if __name__ == "__main__":
    main()
