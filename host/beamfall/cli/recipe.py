"""`beamfall recipe`: settings to save, share, and carry over to another rig."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import typer

from beamfall.board import Board
from beamfall.cli import words
from beamfall.cli.loading import make_app
from beamfall.cli.open_log import open_log
from beamfall.cli.options import EXACT, JSON_ONE, PORT
from beamfall.cli.output import print_json, print_pairs, print_table, say_command
from beamfall.cli.recipe_shoot import shoot
from beamfall.cli.targets import check_target
from beamfall.errors import RecipeError
from beamfall.files import write_text
from beamfall.planning.learned import find_file, load_learned
from beamfall.recipes.make import make_recipe
from beamfall.recipes.package import read_recipe, write_recipe
from beamfall.recipes.recipe import Recipe
from beamfall.recipes.sheet import write_sheet
from beamfall.recipes.shelf import Shelf
from beamfall.recipes.words import list_carried, list_events, list_measured, say_picture
from beamfall.setup.file_schema import section_to_dict
from beamfall.setup.rig import load_rig
from beamfall.setup.sequence_file import sequence_to_file
from beamfall.setup.toml_write import write_toml
from beamfall.setup.unit_words import format_length, format_ms
from beamfall.shots import ShotLog
from beamfall.text import say_count, show_text
from beamfall.workflows.slots import store_recipe

NAME_HELP = "The recipe's name; capitals do not matter."

app = make_app("Recipes: save, print, share and adapt good settings.")


@app.command("save")
def save(
    name: str = typer.Argument(..., help="A name for the recipe."),
    shot: int | None = typer.Option(
        None, min=1, help="Number of the shot; default: the newest that fired."
    ),
    rig_file: Path | None = typer.Option(
        None, "--rig", help="Rig file of that shot; `recipe shoot` then uses what it has learned."
    ),
    replace: bool = typer.Option(False, "--replace", help="Replace a recipe of that name."),
) -> None:
    """Save a shot as a recipe, with its rig and its picture."""
    if rig_file is not None:
        load_rig(rig_file)
    with open_log() as log:
        shelf = Shelf.open(log.path)
        if not replace:
            shelf.refuse_taken(name)
        learned = load_learned(find_file(rig_file))
        recipe = make_recipe(log, shot, name, learned=learned, rig_file=rig_file)
        file = shelf.save(recipe, replace=replace)
    print_pairs([("recipe", f"{recipe.name}, from shot {recipe.home.shot}"), *list_recipe(recipe)])
    print(f"Saved in {show_text(file)}")


@app.command("list")
def list_recipes(
    as_json: bool = typer.Option(False, "--json", help="One JSON object per recipe."),
) -> None:
    """List the recipes."""
    shelved = list(Shelf.open().list())
    if as_json:
        for one in shelved:
            print_json(
                {"file": one.file.name, "problem": one.problem}
                if one.recipe is None
                else recipe_to_json(one.recipe)
            )
        return
    if not shelved:
        print("No recipes saved yet: `beamfall recipe save NAME` saves the newest shot.")
        return
    recipes = [one.recipe for one in shelved if one.recipe is not None]
    print_table(
        ("name", "rating", "made", "picture", "liquid", "spacing", "flash", "note"),
        [
            (
                one.name,
                "" if one.label.rating is None else "*" * one.label.rating,
                one.label.made,
                say_picture(one.events),
                one.liquid,
                "" if one.spacing_s is None else format_ms(one.spacing_s),
                "" if one.flash_delay_s is None else format_ms(one.flash_delay_s),
                " ".join(one.label.note.split())[:40],
            )
            for one in recipes
        ],
        numeric=("spacing", "flash"),
    )
    for broken in shelved:
        if broken.problem:
            print(show_text(broken.problem))


@app.command("show")
def show(name: str = typer.Argument(..., help=NAME_HELP), as_json: bool = JSON_ONE) -> None:
    """Show a recipe: its timings, its rig, and what the picture shows."""
    recipe = Shelf.open().load(name)
    if as_json:
        print_json(recipe_to_json(recipe))
        return
    print_pairs([("recipe", recipe.name), *list_recipe(recipe)])


@app.command("rename")
def rename(
    name: str = typer.Argument(..., help=NAME_HELP),
    new: str = typer.Argument(..., help="Its new name."),
) -> None:
    """Give a recipe another name."""
    recipe = Shelf.open().rename(name, new)
    print(f"Renamed to {show_text(recipe.name)}.")


@app.command("remove")
def remove(name: str = typer.Argument(..., help=NAME_HELP)) -> None:
    """Remove a recipe. The shot stays in the log."""
    Shelf.open().remove(name)
    print(f"Removed {show_text(name)}.")


@app.command("share")
def share(
    name: str = typer.Argument(..., help=NAME_HELP),
    file: Path = typer.Argument(..., help="The file to write, such as umbrella.recipe.zip."),
) -> None:
    """Write a recipe to a file for others.

    It contains the picture and your note, but not your name, paths or exact location.
    """
    check_target(file, "FILE", (".zip",))
    recipe = Shelf.open().load(name)
    write_recipe(file, recipe, shared=True)
    print(
        f"Written to {show_text(file)}. It contains the rig's measurements, the timings and the picture."
    )
    if recipe.label.note:
        print(f"It also contains your note: {show_text(recipe.label.note)}")


@app.command("sheet")
def sheet(
    name: str = typer.Argument(..., help=NAME_HELP),
    file: Path = typer.Argument(
        ..., help="The page to write, such as umbrella.html; print it from a browser."
    ),
) -> None:
    """Write a recipe as a page to print and hang up.

    It has a drawing to scale, every setting and the picture.
    """
    check_target(file, "FILE", (".html",))
    write_sheet(Shelf.open().load(name), file)
    print(f"Written to {show_text(file)}: open it in a browser and print it.")


@app.command("use")
def use(
    file: Path = typer.Argument(..., help="A recipe file that somebody shared."),
    rig_file: Path | None = typer.Option(
        None, "--rig", help="Your rig file (TOML); default: the example rig."
    ),
    keep: bool = typer.Option(False, "--keep", help="Also save it among your recipes."),
    name: str | None = typer.Option(
        None, help="With --keep: your name for it; default: its own name."
    ),
    exact: bool = EXACT,
    sequence: Path | None = typer.Option(
        None, help="Write the sequence for your rig to this file (TOML)."
    ),
    as_json: bool = typer.Option(False, "--json", help="One JSON object, times in ms."),
) -> None:
    """Adapt a recipe to your rig: the same moments, new timings.

    Opens no port. It uses what seek and calibrate have learned about your rig. To fire the result, write it with
    --sequence and give that file to `beamfall shoot`; `beamfall seek --recipe FILE` gets closer.
    """
    from beamfall.recipes.events import carry_over

    check_target(sequence, "--sequence", (".toml",))
    recipe = read_recipe(file)
    if name is not None:
        if not keep:
            raise RecipeError("--name is the name to save it under: add --keep")
        recipe = recipe.renamed(name)
    rig = load_rig(rig_file)
    carried = carry_over(recipe, rig, learned=load_learned(find_file(rig_file)), exact=exact)
    if keep:
        Shelf.open().save(recipe)
    if sequence is not None:
        write_text(sequence, write_toml(sequence_to_file(carried.plan.sequence)))
    if as_json:
        print_json(
            {
                "recipe": recipe_to_json(recipe),
                "plan": carried.plan.to_json(),
                "spacing": None if carried.spacing is None else carried.spacing.to_json(),
                "first_picture_close": carried.chance,
                "not_carried_over": list(carried.lost),
            }
        )
        return
    closer = say_command(
        "seek", rig_file or "RIG", "--recipe", file, *(("--exact",) if exact else ())
    )
    pairs = [("recipe", recipe.name), *list_carried(recipe, carried)]
    print_pairs([*pairs, ("to get closer", closer)])
    print("\nNot carried over to your rig:")
    for line in carried.lost:
        print(f"  {show_text(line)}")
    for caution in carried.plan.warnings:
        print(f"Caution: {show_text(caution.text)}")
    if sequence is not None:
        print(f"Sequence written to {show_text(sequence)}")


@app.command("store")
def store(
    name: str = typer.Argument(..., help=NAME_HELP),
    slot: int = typer.Option(..., min=1, help="Which slot of the board, from 1."),
    port: str | None = PORT,
) -> None:
    """Save a recipe in a slot of the board.

    The board's button then fires it, without a laptop.
    """
    recipe = Shelf.open().load(name)
    with Board.connect(port, rig=recipe.rig) as board, ShotLog.open() as log:
        store_recipe(board, log, recipe, slot)
    print(f"{show_text(recipe.name)} is in slot {slot}.")
    if board.traits.brings_rig:
        print(words.FORGETS_SLOTS)
    else:
        print(f"`beamfall board slots choose {slot}` loads it at every start.")


app.command("shoot")(shoot)


# -- in words --------------------------------------------------------------------------------------------------
def list_recipe(recipe: Recipe) -> list[tuple[str, str]]:
    """What a recipe is, as names and values."""
    label, rig, flash = recipe.label, recipe.rig, recipe.sequence.flash_row()
    valve, site = rig.valves[0], rig.site
    pairs = [
        ("made", ", board: ".join(one for one in (label.made, label.board) if one)),
        ("rating", "" if label.rating is None else f"{label.rating} of 5"),
        ("note", " ".join(label.note.split())),
        *list_events(recipe.events),
    ]
    looks = recipe.looks
    if looks is not None:
        pairs.append(("drop", f"{format_length(looks.drop_m)} at {looks.speed_mm_s / 1e3:.2f} m/s"))
        if looks.jet_m is not None and looks.jet_low_m is not None and looks.jet_high_m is not None:
            low, high = looks.jet_low_m * 1e3, looks.jet_high_m * 1e3
            pairs.append(
                ("jet", f"{looks.jet_m * 1e3:.0f} mm ({low:.0f} to {high:.0f}), calculated")
            )
    pairs += list_measured(recipe)
    if recipe.spacing_s is not None:
        pairs.append(("spacing", format_ms(recipe.spacing_s)))
    if flash is not None:
        pairs.append(("flash", f"{format_ms(flash.delay_s)} after {flash.where}"))
    pairs += [
        (
            "rig",
            f"{rig.name}: nozzle {format_length(valve.height_m)}, bore {format_length(valve.bore_m)}, head "
            f"{format_length(valve.head_m)}, opening {format_ms(valve.opening_s, 1)}",
        ),
        (
            "liquid",
            f"{recipe.liquid}, {rig.liquid.temperature_k - 273.15:.1f} °C, {format_length(rig.dish.depth_m)} deep; "
            f"air {site.air_temperature_k - 273.15:.1f} °C",
        ),
    ]
    for drop in recipe.drops:
        dwell = "" if drop.dwell_s is None else f", {format_ms(drop.dwell_s)} in the beam"
        count = say_count(drop.drops, "drop")
        pairs.append(("beam", f"{count}: {format_ms(drop.arrival_s)} after the opening{dwell}"))
    return pairs


def recipe_to_json(recipe: Recipe) -> dict[str, Any]:
    """A recipe as one object, in SI units."""
    return {
        **section_to_dict(recipe.label),
        "shot": recipe.home.shot,
        "events": section_to_dict(recipe.events),
        "looks": section_to_dict(recipe.looks),
        "measured": section_to_dict(recipe.measured),
        "drops": section_to_dict(recipe.drops),
        "spacing_s": recipe.spacing_s,
        "flash_delay_s": recipe.flash_delay_s,
        "has_picture": recipe.picture is not None,
        "rig": recipe.rig.to_dict(),
        "rows": section_to_dict(recipe.sequence.rows),
    }
