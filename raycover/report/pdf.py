"""A report as PDF by typst: content goes in as JSON, drawings as files; no network, fonts that matplotlib ships."""

from __future__ import annotations

import json
import shutil
import tempfile
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from raycover.draw.lettering import font_path
from raycover.errors import MissingPart
from raycover.letterhead import Logo
from raycover.report.content import Content, Section
from raycover.report.figures import Drawings
from raycover.report.html import KINDS, NEEDS, templates

#: Families that the template sets.
_FAMILIES = ("DejaVu Sans", "STIXGeneral")
#: Largest logo (mm).
_LOGO = (45.0, 22.0)


def pdf_of(content: Content, drawings: Drawings, logo: Logo | None) -> bytes:
    """The whole report, A4. The same content and drawings give the same bytes. Raises MissingPart without typst."""
    try:
        import typst
    except ImportError:
        raise MissingPart(f"{NEEDS}; --html-only writes the HTML alone") from None
    fonts = typst.Fonts(
        include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(font_path("sans").parent)]
    )
    absent = [family for family in _FAMILIES if family not in fonts.families()]
    if absent:
        raise MissingPart(f"the fonts {' and '.join(absent)} are missing that matplotlib ships: install it again")
    day = content.day
    with tempfile.TemporaryDirectory(prefix="raycover-report-") as folder:
        root = Path(folder)
        shutil.copyfile(templates() / "report.typ", root / "report.typ")
        data = _data(content, drawings, logo, root)
        data["day"] = None if day is None else [day.year, day.month, day.day]
        (root / "data.json").write_text(json.dumps(data, ensure_ascii=False), encoding="utf-8")
        # An empty folder stands for packages: none is fetched, whatever a template names.
        compiler = typst.Compiler(root=root, font_paths=fonts, package_path=root, package_cache_path=root)
        made = compiler.compile(
            input=root / "report.typ", format="pdf", timestamp=(day or datetime(2000, 1, 1)).replace(tzinfo=UTC)
        )
    assert isinstance(made, bytes)
    return made


def _data(content: Content, drawings: Drawings, logo: Logo | None, root: Path) -> dict[str, Any]:
    """The content as plain data, its drawings written beside it."""
    figures = {}
    for number, name in enumerate(content.figures()):
        drawing = drawings[name]
        file = root / f"figure-{number}{'.pdf' if drawing.pdf else '.png'}"
        file.write_bytes(drawing.pdf or drawing.png)
        figures[name] = {"file": file.name, "width": drawing.width}
    cover = {key.replace("_", "-"): value for key, value in asdict(content.cover).items()}
    return {
        "title": content.title,
        "language": content.language,
        "cover": cover,
        "contents-title": content.contents_title,
        "running": content.running,
        "foot": content.foot,
        "page-of": content.page_of,
        "sections": [_section(section) for section in content.sections],
        "figures": figures,
        "logo": _logo(logo, content, root),
    }


def _section(section: Section) -> dict[str, Any]:
    return {
        "title": section.title,
        "wide": section.wide,
        "own-page": section.own_page,
        "blocks": [{"kind": KINDS[type(block)], **asdict(block)} for block in section.blocks],
        "parts": [_section(part) for part in section.parts],
    }


def _logo(logo: Logo | None, content: Content, root: Path) -> dict[str, Any] | None:
    if logo is None:
        return None
    (root / "logo.png").write_bytes(logo.png)
    width = min(_LOGO[0], _LOGO[1] * logo.ratio)
    return {"file": "logo.png", "width": width, "alt": content.cover.facts[0][1]}
