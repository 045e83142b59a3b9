"""What a report says, without a look: sections of paragraphs, tables and figures that HTML and PDF alike render.

All text is plain. It is never put into a template as source, so that nothing in it can act as markup.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

#: How a cell looks: a verdict that is good or bad, a strong one, a pale one.
Tone = Literal["", "good", "bad", "strong", "pale"]
Align = Literal["left", "right", "center"]


@dataclass(frozen=True)
class Cell:
    """A cell of a table: text, or a sign (the name of a figure) with text beside it."""

    text: str
    tone: Tone = ""
    sign: str = ""


@dataclass(frozen=True)
class Column:
    """A column: its head, how its cells are aligned, and its share of the width (0: as wide as its text)."""

    head: str
    align: Align = "left"
    share: float = 0.0


@dataclass(frozen=True)
class Paragraph:
    """Running text; `tone` "note" for small print, "verdict" for what is meant to be seen first."""

    text: str
    tone: Literal["", "note", "verdict", "caution"] = ""


@dataclass(frozen=True)
class Bullets:
    """Points, each a sentence or two."""

    items: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """A table with a caption. The first column heads its rows. `note` stands below."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""
    small: bool = False


@dataclass(frozen=True)
class Figure:
    """A drawing by name, with a caption, and what it shows in words for who cannot see it."""

    name: str
    caption: str
    alt: str


@dataclass(frozen=True)
class Signatures:
    """Lines to sign on: heads of the columns, and for each row who signs with what is known already."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


Block = Paragraph | Bullets | Table | Figure | Signatures


@dataclass(frozen=True)
class Section:
    """A heading with what stands under it. `wide`: on landscape paper; `own_page`: begins a page."""

    key: str
    title: str
    blocks: tuple[Block, ...] = ()
    parts: tuple[Section, ...] = ()
    wide: bool = False
    own_page: bool = False

    def figures(self) -> Iterator[str]:
        """Names of the drawings and signs in it."""
        for block in self.blocks:
            if isinstance(block, Figure):
                yield block.name
            elif isinstance(block, Table):
                yield from (cell.sign for row in block.rows for cell in row if cell.sign)
        for part in self.parts:
            yield from part.figures()


@dataclass(frozen=True)
class Cover:
    """The first page: `facts` are (what, value), `headline` the figure or verdict and what it means."""

    kind: str
    title: str
    subtitle: str
    facts: tuple[tuple[str, str], ...]
    headline: str
    headline_words: str
    verdict: Tone
    verdict_words: str
    points: tuple[str, ...]
    caution: str
    figure: Figure | None = None


@dataclass(frozen=True)
class Content:
    """A whole report. `running` stands at the head of every page, `foot` at its foot beside "n of N".

    `date` as it is written, `day` the one that it means, where that is known.
    """

    language: str
    decimal_comma: bool
    title: str
    cover: Cover
    contents_title: str
    sections: tuple[Section, ...]
    running: str
    foot: str
    page_of: str
    date: str
    day: datetime | None = None

    def figures(self) -> tuple[str, ...]:
        """Names of the drawings and signs, each once."""
        first = [self.cover.figure.name] if self.cover.figure is not None else []
        return tuple(dict.fromkeys([*first, *(name for section in self.sections for name in section.figures())]))


def numbered(sections: Sequence[Section]) -> tuple[Section, ...]:
    """The sections with their numbers before their titles."""
    told = []
    for n, section in enumerate(sections, 1):
        parts = tuple(replace(p, title=f"{n}.{k} {p.title}") for k, p in enumerate(section.parts, 1))
        told.append(replace(section, title=f"{n} {section.title}", parts=parts))
    return tuple(told)


def row(*cells: str | Cell) -> tuple[Cell, ...]:
    """Cells of a row; plain text becomes a plain cell."""
    return tuple(cell if isinstance(cell, Cell) else Cell(cell) for cell in cells)
