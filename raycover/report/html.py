"""A report as one HTML file that asks for nothing outside itself: drawings, signs and style are all within."""

from __future__ import annotations

import base64
import io
from importlib import resources
from pathlib import Path
from typing import Any

from raycover.draw.lettering import font_path
from raycover.errors import MissingPart
from raycover.letterhead import Logo
from raycover.report.content import Bullets, Content, Figure, Paragraph, Signatures, Table
from raycover.report.figures import Drawing, Drawings

#: How a template knows what a block is.
KINDS = {Paragraph: "paragraph", Bullets: "bullets", Table: "table", Figure: "figure", Signatures: "signatures"}
NEEDS = "a report needs jinja2 and typst: pip install 'raycover[report]'"


def templates() -> Path:
    """The folder of templates: in the wheel as in a checkout."""
    return Path(str(resources.files("raycover"))) / "report" / "templates"


def html_of(content: Content, drawings: Drawings, logo: Logo | None) -> str:
    """The whole page. The same content and drawings give the same text. Raises MissingPart without jinja2."""
    try:
        from jinja2 import Environment, FileSystemLoader, StrictUndefined
    except ImportError:
        raise MissingPart(NEEDS) from None
    environment = Environment(
        loader=FileSystemLoader(templates(), encoding="utf-8"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    used = content.figures()
    signs = {name: _slug(index) for index, name in enumerate(n for n in used if n.startswith("sign "))}
    figures = {name: _picture(drawings[name]) for name in used if name not in signs}
    return environment.get_template("report.html.j2").render(
        content=content,
        kind=lambda block: KINDS[type(block)],
        figures=figures,
        signs=signs,
        sign_pictures={signs[name]: _picture(drawings[name]) for name in signs},
        anchors={section.key: f"s{n}" for n, section in enumerate(content.sections, 1)},
        logo=None if logo is None else _data("image/png", logo.png),
        title_font=_title_font(content),
        css=(templates() / "report.css").read_text(encoding="utf-8"),
    )


def _title_font(content: Content) -> str:
    """The serif of titles and figures, as data, with no more letters than they need."""
    from fontTools import subset

    cover = content.cover
    texts = [cover.kind, cover.title, cover.headline, content.contents_title]
    for section in content.sections:
        texts += [section.title, *(part.title for part in section.parts)]
    options = subset.Options(layout_features=[], notdef_outline=True, recalc_timestamp=False)
    options.drop_tables += ["FFTM"]  # a font editor's timestamps
    font = subset.load_font(str(font_path("serif")), options, lazy=False)
    chosen = subset.Subsetter(options)
    chosen.populate(text="".join(texts))
    chosen.subset(font)
    font.flavor = "woff"
    file = io.BytesIO()
    font.save(file, reorderTables=None)
    return _data("font/woff", file.getvalue())


def _slug(index: int) -> str:
    return f"g{index}"


def _picture(drawing: Drawing) -> dict[str, Any]:
    """What an img needs: its data and its size in mm."""
    source = _data("image/svg+xml", drawing.svg) if drawing.svg else _data("image/png", drawing.png)
    return {"source": source, "width": round(drawing.width, 2), "height": round(drawing.height, 2)}


def _data(kind: str, content: bytes) -> str:
    return f"data:{kind};base64,{base64.b64encode(content).decode('ascii')}"
