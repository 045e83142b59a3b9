"""By whose figures: what the detectors' entries declare, and what walls and things are made of."""

from __future__ import annotations

from raycover.kit.sheet_words import layers_words
from raycover.report.content import Block, Bullets, Cell, Paragraph, Section, Table, row
from raycover.report.gather import Report
from raycover.report.words import Words, name
from raycover.scene.devices import PatternSpec, ShapeSpec


def entries(report: Report, w: Words) -> Section:
    """What each model declares, and by whose word."""
    used: dict[str, tuple[str, PatternSpec, list[str]]] = {}
    for detector, unit in zip(report.scene.detectors, report.coverage.units, strict=True):
        pattern = report.scene.pattern_of(detector)
        key = detector.model or f"{detector.name}, {w('own pattern')}"
        used.setdefault(key, (unit.title, pattern, []))[2].append(detector.name)
    parts = []
    for key, (title, pattern, names) in used.items():
        dual = len(pattern.parts) > 1
        rows = tuple(
            row(
                *([w(part.kind)] if dual else []),
                w.motion(d.motion),
                w.short(d.mounting),
                w.short(d.plane),
                _shape(d.shape, w),
                name(d.source or w("no source")),
            )
            for part in pattern.parts
            for d in part.declared
        )
        half = ("technology",) if dual else ()
        columns = w.columns(*half, "who", "mounting>", "plane m>", "footprint m", "source*1")
        told = [w("used by", names=", ".join(name(n) for n in names)), "; ".join(_facts(pattern, w))]
        if pattern.source:
            told.append(w("other figures source", source=name(pattern.source)))
        described = " ".join(name(getattr(pattern, "description", "") or "").split())
        heading = title if title == key else f"{title} ({key})"
        blocks: list[Block] = [Table(w("declared table", model=name(title)), columns, rows, small=True)]
        blocks.insert(0, Bullets(tuple(told)))
        if described:
            blocks.insert(0, Paragraph(described, "note"))
        parts.append(Section(f"entry-{key}", name(heading), tuple(blocks)))
    return Section("entries", w("entries"), (Paragraph(w("entries intro")),), tuple(parts), own_page=True)


def _facts(pattern: PatternSpec, w: Words) -> list[str]:
    facts = [w(f"kind {pattern.kind}")]
    bands = [part.frequency_ghz for part in pattern.parts if part.frequency_ghz is not None]
    facts[0] += "".join(f", {w.short(band)} GHz" for band in bands)
    if pattern.mounting is not None:
        facts.append(w("mounting range", low=w.short(pattern.mounting.from_m), high=w.short(pattern.mounting.to_m)))
    if pattern.largest_mask_share is not None:
        facts.append(w("mask share", share=w.percent(pattern.largest_mask_share)))
    if pattern.bus_current_ma is not None:
        facts.append(w("bus current", ma=w.short(pattern.bus_current_ma)))
    return facts


def _shape(shape: ShapeSpec, w: Words) -> str:
    if shape.circle is not None:
        return w("shape circle", d=w.short(shape.circle.diameter))
    if shape.rectangle is not None:
        return w("shape rectangle", a=w.short(shape.rectangle.length), b=w.short(shape.rectangle.width))
    if shape.ellipse is not None:
        return w("shape ellipse", a=w.short(shape.ellipse.length), b=w.short(shape.ellipse.width))
    if shape.sector is not None:
        return w("shape sector", r=w.short(shape.sector.reach), a=w.short(shape.sector.spread_deg))
    low, high = shape.radii
    return w("shape polar", low=w.short(low), high=w.short(high))


def materials(report: Report, w: Words) -> Section:
    """Constructions and solids that stand in the building, of what they are made, by whose figures."""
    building, catalogue = report.building, report.scene.catalogue
    made = {construction.name: construction for construction in report.scene.constructions_used()}
    rows = [
        row(Cell(name(title), "strong"), _made(construction, w), name(construction.source or w("no source")))
        for title, construction in sorted(made.items())
    ]
    columns = w.columns("construction", "made of*1", "source*1.4")
    blocks: list[Block] = [Paragraph(w("materials intro", edition=name(catalogue.edition)))]
    if rows:
        blocks.append(Table(w("constructions table"), columns, tuple(rows), small=True))
    used = {material.name for construction in made.values() for material in construction.materials}
    sources: dict[str, list[str]] = {}
    for material in sorted(used):
        sources.setdefault(catalogue.sources.get(f"material {material}", w("no source")), []).append(material)
    if sources:
        told = tuple(
            row(Cell(name(w.way(", ".join(names))), "strong"), name(source)) for source, names in sources.items()
        )
        blocks.append(
            Table(
                w("materials table"),
                w.columns("material*1", "source*1.6"),
                told,
                small=True,
            )
        )
    solids = sorted({made_of.name for made_of in building.boxes.materials} & set(catalogue.solids))
    if solids:
        told = tuple(row(Cell(s, "strong"), name(catalogue.solids[s].source or w("no source"))) for s in solids)
        blocks.append(Table(w("solids table"), w.columns("material", "source*1.6"), told, small=True))
    blocks.append(Paragraph(w("sources note"), "note"))
    return Section("materials", w("materials"), tuple(blocks), own_page=True)


def _made(construction: object, w: Words) -> str:
    kind = construction.kind  # type: ignore[attr-defined]
    if construction.layers:  # type: ignore[attr-defined]
        return name(w.way(layers_words(construction)))  # type: ignore[arg-type]
    return w(f"construction {kind}")
