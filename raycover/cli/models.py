"""`raycover models`: the catalogue listed, a unit drawn, an entry made from a data sheet's figures."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Optional

import typer

app = typer.Typer(
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Detectors, constructions and materials: list them, draw one, enter a unit of your own.",
)

SceneFolder = Annotated[
    Optional[Path],  # noqa: UP045
    typer.Option("--scene-folder", metavar="DIR", help="folder whose models/ is read too (default: here)"),
]
Lang = Annotated[str, typer.Option("--lang", metavar="CODE", help="language of the drawing: en or de")]
AsJson = Annotated[bool, typer.Option("--json", help="machine output on stdout")]
Text = Optional[str]  # noqa: UP045


@app.callback(invoke_without_command=True)
def models_(
    ctx: typer.Context,
    constructions: Annotated[bool, typer.Option("--constructions", help="walls, doors, glazing, slabs")] = False,
    materials: Annotated[bool, typer.Option("--materials", help="materials and what solids are made of")] = False,
    losses: Annotated[
        str, typer.Option("--losses", metavar="averaged|coherent", help="how losses are taken")
    ] = "averaged",
    needs: Annotated[bool, typer.Option("--needs", help="ready-made sets of needs, for needs: [{set: NAME}]")] = False,
    space: Annotated[
        Text, typer.Option("--for", metavar="SPACE", help="rank the detectors for a kind of space: washroom, say")
    ] = None,
    mounting: Annotated[
        Optional[float],  # noqa: UP045
        typer.Option("--mounting", metavar="H", help="with --for: mounting height in m"),
    ] = None,
    air_c: Annotated[
        Optional[float],  # noqa: UP045
        typer.Option("--air", metavar="C", help="with --for: the warmest air in °C"),
    ] = None,
    material: Annotated[
        Text, typer.Option("--material", metavar="NAME", help="draw a construction or material: loss, reflection")
    ] = None,
    frequency_ghz: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Option("--frequency-ghz", metavar="GHZ", help="with --material: not the two bands but this; repeatable"),
    ] = None,
    output: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option(
            "-o",
            "--output",
            metavar="FILE",
            help="with --material: the drawing, .png, .svg or .pdf (default: NAME.png)",
        ),
    ] = None,
    drawing: Annotated[bool, typer.Option("--drawing/--no-drawing", help="with --material: draw it")] = True,
    lang: Lang = "en",
    scene_folder: SceneFolder = None,
    json: AsJson = False,
) -> None:
    """List the catalogue: detectors by default."""
    if ctx.invoked_subcommand is not None:
        return
    if space is not None:
        from raycover.cli import suiting

        suiting.rank_for(space, mounting, air_c, scene_folder, as_json=json)
        return
    if needs:
        from raycover.cli import need_listing

        need_listing.list_sets(scene_folder, as_json=json)
        return
    if material is not None:
        from raycover.cli import sheets

        sheets.show_material(
            material, output, frequency_ghz or [], scene_folder, drawing=drawing, lang=lang, as_json=json
        )
        return
    from raycover.cli import listing

    listing.refuse_without_material(frequency_ghz, output, drawing=drawing, lang=lang)
    listing.list_models(scene_folder, constructions=constructions, materials=materials, losses=losses, as_json=json)


@app.command("show")
def show_(
    name: Annotated[str, typer.Argument(metavar="NAME", help="a detector of the catalogue")],
    output: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option("-o", "--output", metavar="FILE.png", help="the drawing (default: NAME.png; with --json none)"),
    ] = None,
    mounting: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Option(
            "--mounting", metavar="H", help="mounting height to draw, or to add to the table; may be repeated"
        ),
    ] = None,
    drawing: Annotated[bool, typer.Option("--drawing/--no-drawing", help="draw the sheet")] = True,
    lang: Lang = "en",
    scene_folder: SceneFolder = None,
    json: AsJson = False,
) -> None:
    """Draw a unit and print its reach against mounting height."""
    from raycover.cli import showing

    showing.show(name, output, mounting or [], scene_folder, drawing=drawing, lang=lang, as_json=json)


@app.command("new")
def new_(
    name: Annotated[Text, typer.Argument(metavar="NAME", help="name that scenes use", show_default=False)] = None,
    title: Annotated[Text, typer.Option("--title", help="for schedules and pictures (default: from the name)")] = None,
    kind: Annotated[Text, typer.Option("--kind", help="infrared or microwave")] = None,
    frequency_ghz: Annotated[Text, typer.Option("--frequency-ghz", metavar="GHZ", help="microwave only")] = None,
    declared: Annotated[
        Optional[list[str]],  # noqa: UP045
        typer.Option(
            "--declared",
            metavar='"MOTION MOUNTING [on PLANE] SHAPE"',
            help="a footprint, repeated for each. Motion: tangential, radial or presence. Shape: circle D, "
            "rectangle L W, ellipse L W, sector REACH SPREAD_DEG, or polar DEG:M,DEG:M,… For example "
            '"tangential 2.5 circle 7"',
        ),
    ] = None,
    mounting_from: Annotated[Text, typer.Option("--mounting-from", metavar="H", help="lowest mounting height")] = None,
    mounting_to: Annotated[Text, typer.Option("--mounting-to", metavar="H", help="highest mounting height")] = None,
    largest_mask_share: Annotated[
        Text, typer.Option("--largest-mask-share", metavar="SHARE", help="of the pattern: 0.25 or 25%")
    ] = None,
    bus_current_ma: Annotated[Text, typer.Option("--bus-current-ma", metavar="MA", help="drawn from the bus")] = None,
    reach_behind: Annotated[
        Text, typer.Option("--reach-behind", metavar="SHARE", help="microwave: share of the reach behind the unit")
    ] = None,
    source: Annotated[Text, typer.Option("--source", help="where the figures come from")] = None,
    description: Annotated[Text, typer.Option("--description", help="what it is for")] = None,
    output: Annotated[
        Path, typer.Option("-o", "--output", metavar="FOLDER", help="folder of models, beside the scenes")
    ] = Path("models"),
    drawing: Annotated[bool, typer.Option("--drawing/--no-drawing", help="draw the sheet beside the entry")] = True,
    force: Annotated[bool, typer.Option("--force", help="replace an entry that is there")] = False,
    json: AsJson = False,
) -> None:
    """Make an entry from a data sheet's figures: asked one by one, or given as options.

    Lengths are metres unless they say mm or cm.
    """
    from raycover.cli import entering

    given = {
        "name": name,
        "title": title,
        "kind": kind,
        "frequency_ghz": frequency_ghz,
        "mounting_from": mounting_from,
        "mounting_to": mounting_to,
        "largest_mask_share": largest_mask_share,
        "bus_current_ma": bus_current_ma,
        "reach_behind": reach_behind,
        "source": source,
        "description": description,
    }
    entering.enter(given, declared or [], output, drawing=drawing, force=force, as_json=json)
