"""Lists that pages take from the program: commands, closing elements, failure modes, figures.

A page asks for a list with a comment above a table::

    <!-- list: failure modes -->
"""

from __future__ import annotations

import inspect
import re
import textwrap
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Literal, get_args, get_origin, get_type_hints

from makers import DOCS, Files
from makers.markdown import cell, table
from shutoffsim.model.modes import Stage

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
        yield from table(
            ("argument or option", "what for"),
            (
                (
                    f"`{_argument(p) if p in arguments else _option(p, hints[p.name])}`",
                    cell(p.help or ""),
                )
                for p in command.params
                if p.name in hints
            ),
        )
        yield ""


def _argument(p: Any) -> str:
    return cell(p.metavar if p.required else f"[{p.metavar}]")


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

    yield from table(
        ("`element.kind`", "what is fitted", "moved by", "on the existing valve", "without power"),
        (
            (
                f"`{kind}`",
                WORDS[kind].fitted,
                element.drive,
                "clamped on" if element.clamped else "replaced" if element.own_valve else "left",
                element.unpowered,
            )
            for kind, element in ELEMENTS.items()
        ),
    )


def failure_modes() -> Iterator[str]:
    """Yield each failure mode in words, in the order of the chain."""
    from shutoffsim.model.modes import FAILURE_MODES
    from shutoffsim.report.modes import MODES

    yield from table(
        ("failure mode", "what happened", "what makes it rarer"),
        ((mode, MODES[mode].happened, MODES[mode].remedy) for mode in FAILURE_MODES),
    )


def links() -> Iterator[str]:
    """Yield the traits of each link of the chain."""
    from shutoffsim.model.modes import FAILURE_MODES

    yield from table(
        ("link", "hangs on", "what is mended after the incident"),
        ((name, _STAGES[mode.stage], mode.mends) for name, mode in FAILURE_MODES.items()),
    )


def senses() -> Iterator[str]:
    """Yield what can tell that a closing ended in each link."""
    from shutoffsim.model.modes import FAILURE_MODES, SENSES

    yield from table(
        ("link", *SENSES),
        (
            (name, *("yes" if sense in mode.told_by else "" for sense in SENSES))
            for name, mode in FAILURE_MODES.items()
            if mode.told_by
        ),
    )


def figures() -> Iterator[str]:
    """Yield the figures of a design."""
    from shutoffsim.study.comparison import FIGURES

    yield from table(
        ("key", "meaning"), ((f"`{name}`", figure.meaning) for name, figure in FIGURES.items())
    )


_STAGES: dict[Stage, str] = {
    "not fitted": "nothing fitted",
    "sensing": "sensing",
    "logic": "logic and power",
    "element": "the closing element",
    "torque": "torque",
    "time": "time",
}


def python() -> Iterator[str]:
    """Yield everything public: how it is called, and what its documentation says."""
    import shutoffsim

    for name in shutoffsim.__all__:
        thing = getattr(shutoffsim, name)
        if not callable(thing):
            continue
        yield from (f"### {name}", "", "```text")
        if not inspect.isclass(thing):
            yield from (*_wrapped(f"{name}{inspect.signature(thing)}"), "")
        yield from (*inspect.cleandoc(thing.__doc__ or "").splitlines(), "```", "")
        if not inspect.isclass(thing):
            continue
        for key, method in vars(thing).items():
            if not key.startswith("_") and inspect.isfunction(method) and method.__doc__:
                first = inspect.cleandoc(method.__doc__).split("\n\n")[0].replace("\n", " ")
                yield f"- `{key}`: {cell(first)}"
        yield ""


def _wrapped(signature: str) -> list[str]:
    """Return a signature in lines; types are told below it."""
    call = signature.split(" -> ")[0]
    plain = re.sub(r": '(?:[^']*)'", "", call).replace(" = ", "=")
    return textwrap.wrap(plain, 96, subsequent_indent="    ", break_on_hyphens=False)


LISTS: dict[str, Callable[[], Iterator[str]]] = {
    "commands": commands,
    "closing elements": closing_elements,
    "failure modes": failure_modes,
    "links": links,
    "senses": senses,
    "figures": figures,
    "python": python,
}


def listed(text: str) -> set[str]:
    """Return the names of the lists that a page asks for."""
    return {match[2] for match in _LIST.finditer(text)}


def renew(text: str) -> str:
    """Return a page with all its lists made anew."""
    return _LIST.sub(lambda m: m[1] + "\n" + "\n".join(LISTS[m[2]]()).rstrip() + "\n\n", text)


def pages() -> list[Path]:
    """Return the pages that may ask for lists."""
    return sorted(DOCS.glob("*.md"))


def files() -> Files:
    """Yield the pages with all their lists made anew."""
    for page in pages():
        yield page, renew(page.read_text(encoding="utf-8")).encode()
