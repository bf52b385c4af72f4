"""Reads a page back: its tables, headings and ids, as a program or a screen reader finds them."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser

#: Elements that never have an end tag.
_EMPTY = {"meta", "link", "br", "hr", "img", "input"}


@dataclass
class ReadTable:
    """A table: its caption, heads, and rows of (text, small print)."""

    caption: str = ""
    heads: list[str] = field(default_factory=list)
    rows: list[list[tuple[str, str]]] = field(default_factory=list)

    def column(self, head: str) -> list[tuple[str, str]]:
        at = self.heads.index(head)
        return [row[at] for row in self.rows]


class Page(HTMLParser):
    """What stands in a page."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tables: list[ReadTable] = []
        self.ids: list[str] = []
        self.headings: list[tuple[int, str]] = []
        self.links: list[tuple[str, str]] = []
        self.tags: list[str] = []
        self.isolated: list[str] = []
        self.drawn: dict[str, str] = {}
        self._open: list[tuple[str, dict[str, str]]] = []
        self.feed(text)
        self.close()
        assert self._open == [], f"not closed: {self._open}"

    def handle_starttag(self, tag, attrs):
        named = {key: value or "" for key, value in attrs}
        self.tags.append(tag)
        if "id" in named:
            self.ids.append(named["id"])
        self.links += [(tag, named[key]) for key in ("href", "src", "action") if key in named]
        if tag in _EMPTY:
            return
        self._open.append((tag, named))
        if tag == "table":
            self.tables.append(ReadTable())
        elif tag == "tr" and self._inside("tbody"):
            self.tables[-1].rows.append([])
        elif tag in ("th", "td") and self._inside("tbody"):
            self.tables[-1].rows[-1].append(("", ""))
        elif tag == "th":
            self.tables[-1].heads.append("")
        elif tag in ("h1", "h2", "h3", "h4"):
            self.headings.append((int(tag[1]), ""))
        elif tag == "bdi":
            self.isolated.append("")
        elif tag == "svg":
            self.drawn[named["aria-labelledby"].split("-title")[0]] = ""

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in _EMPTY:
            self.handle_endtag(tag)

    def handle_endtag(self, tag):
        opened, _ = self._open.pop()
        assert opened == tag, f"<{opened}> is closed by </{tag}>"

    def handle_data(self, data):
        if self._inside("svg"):
            last = next(reversed(self.drawn))
            self.drawn[last] += f" {data}"
            return
        if self._inside("bdi"):
            self.isolated[-1] += data
        if self._inside("caption"):
            self.tables[-1].caption += data
        elif self._inside("tbody") and (self._inside("th") or self._inside("td")):
            if any("key" in named.get("class", "").split() for _, named in self._open):
                return  # a design's letter
            row = self.tables[-1].rows[-1]
            text, note = row[-1]
            small = any(named.get("class") == "note" for _, named in self._open)
            row[-1] = (text, note + data) if small else (text + data, note)
        elif self._inside("thead") and self._inside("th"):
            self.tables[-1].heads[-1] += data
        elif any(tag in ("h1", "h2", "h3", "h4") for tag, _ in self._open):
            level, text = self.headings[-1]
            self.headings[-1] = (level, text + data)

    def _inside(self, tag: str) -> bool:
        return any(opened == tag for opened, _ in self._open)

    def table(self, start: str) -> ReadTable:
        found = [table for table in self.tables if table.caption.startswith(start)]
        assert found, f"no table {start!r} among {[table.caption for table in self.tables]}"
        return found[0]
