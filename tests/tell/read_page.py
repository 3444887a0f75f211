"""Reads a finished report back: its tables, its texts, its programs."""

from __future__ import annotations

import base64
import gzip
import json
from dataclasses import dataclass, field
from html.parser import HTMLParser

import numpy as np

VOID = {"meta", "br", "link", "img", "input", "hr"}


@dataclass
class Page:
    """What stands in a page. `texts` by the id of the innermost element that has one; tables as rows of cells."""

    elements: list[tuple[str, dict[str, str | None]]] = field(default_factory=list)
    tables: dict[str, list[list[str]]] = field(default_factory=dict)
    texts: dict[str, str] = field(default_factory=dict)
    scripts: list[tuple[dict[str, str | None], str]] = field(default_factory=list)
    headings: list[str] = field(default_factory=list)
    body: str = ""

    def figure(self) -> dict:
        return json.loads(self.texts["figure-air"])

    def program(self) -> str:
        packed = self.texts["program"].translate(str.maketrans(",.:", "<>&"))
        return gzip.decompress(base64.b85decode(packed)).decode()

    def column(self, table: str, name: str) -> list[str]:
        head, *rows = self.tables[table]
        return [row[head.index(name)] for row in rows]


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.page = Page()
        self.open: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag, attrs):
        found = dict(attrs)
        self.page.elements.append((tag, found))
        if tag not in VOID:
            self.open.append((tag, found))
        table = self._id("table")
        if tag == "table":
            self.page.tables[found["id"]] = []
        elif tag == "tr":
            self.page.tables[table].append([])
        elif tag in ("td", "th"):
            self.page.tables[table][-1].append("")
        elif tag == "h2":
            self.page.headings.append("")
        elif tag == "script":
            self.page.scripts.append((found, ""))

    def handle_endtag(self, tag):
        while self.open and self.open.pop()[0] != tag:
            pass

    def handle_data(self, data):
        tags = [tag for tag, _ in self.open]
        text = data.replace("\u00a0", " ")
        here = next((attrs["id"] for _, attrs in reversed(self.open) if "id" in attrs), "")
        self.page.texts[here] = self.page.texts.get(here, "") + (data if "script" in tags else text)
        if "script" in tags:
            attrs, program = self.page.scripts[-1]
            self.page.scripts[-1] = (attrs, program + data)
            return
        if "style" not in tags:
            self.page.body += text
        if "td" in tags or "th" in tags:
            self.page.tables[self._id("table")][-1][-1] += text
        elif "h2" in tags:
            self.page.headings[-1] += text

    def _id(self, tag):
        return next((attrs["id"] for name, attrs in reversed(self.open) if name == tag), "")


def read_page(html: str) -> Page:
    """The page as a reader without a browser sees it."""
    reader = _Reader()
    reader.feed(html)
    reader.close()
    return reader.page


def numbers(values) -> np.ndarray:
    """A column of a figure, which plotly writes as a list or as base64 of an array."""
    if isinstance(values, dict):
        return np.frombuffer(base64.b64decode(values["bdata"]), np.dtype(values["dtype"]))
    return np.array([np.nan if value is None else value for value in values], float)
