"""A recipe as one printed page, complete enough to set it up from paper."""

from __future__ import annotations

import base64
from collections.abc import Iterable
from pathlib import Path
from string import Template

from beamfall.files import write_text
from beamfall.recipes.drawing import draw_rig
from beamfall.recipes.recipe import Recipe, find_partners, name_liquid
from beamfall.recipes.words import list_measured
from beamfall.setup.rig import Rig
from beamfall.setup.rig_sections import LiquidInRig
from beamfall.setup.unit_words import format_duration, format_length, format_ms
from beamfall.text import show_html

_PAGE = Path(__file__).with_name("sheet.html")
_BLANK = "________"
Rows = list[tuple[str, str]]


def write_sheet(recipe: Recipe, file: Path) -> None:
    """Write the page (HTML, made for A4); raises FileWriteError."""
    write_text(file, make_sheet(recipe))


def make_sheet(recipe: Recipe) -> str:
    """Return the page."""
    label = recipe.label
    picture = '<div class="none">no picture</div>'
    if recipe.picture is not None:
        data = base64.b64encode(recipe.picture).decode()
        picture = f'<img alt="The picture" src="data:image/jpeg;base64,{data}">'
    stars = "" if label.rating is None else "★" * label.rating
    line = " · ".join(one for one in (_say_kind(recipe), label.made, stars) if one)
    note = f"<h2>Note</h2><p>{show_html(label.note)}</p>" if label.note else ""
    return Template(_PAGE.read_text(encoding="utf-8")).substitute(
        title=show_html(recipe.name), line=show_html(line), picture=picture, drawing=draw_rig(recipe),
        tables="".join(_make_table(name, rows) for name, rows in list_tables(recipe).items()),
        note=note,
        foot="These times are for this rig. For another rig, `beamfall recipe use FILE --rig RIG` calculates new "
        "ones. Each row's times count from its anchor; the release is the start of the shot.",
    )  # fmt: skip


def list_tables(recipe: Recipe) -> dict[str, Rows]:
    """Everything needed to set a recipe up, by heading."""
    rig, flash_row = recipe.rig, recipe.sequence.flash_row()
    tables: dict[str, Rows] = {"Timing": []}
    if recipe.spacing_s is not None:
        tables["Timing"].append(("spacing, opening 1 to 2", format_ms(recipe.spacing_s)))
    if flash_row is not None:
        tables["Timing"].append(
            ("flash", f"{format_ms(flash_row.delay_s)} after {flash_row.where}")
        )
    for row in sorted(recipe.sequence.rows, key=lambda one: (one.anchor != "release", one.delay_s)):
        said = f"{format_ms(row.delay_s)}, for {format_ms(row.width_s)}"
        tables["Timing"].append((f"{row.output}, from {row.where}", said))
    tables["Picture"] = _list_picture(recipe)
    near = find_partners(rig)
    for valve in rig.valves:
        place = (
            ""
            if valve in near and valve.place_m == 0.0
            else f", {format_length(valve.place_m)} along the dish"
        )
        tables[f"Valve {valve.output}"] = [
            ("nozzle's mouth above the surface", format_length(valve.height_m) + place),
            ("bore", format_length(valve.bore_m)),
            ("outer diameter at the mouth", _or_blank(valve.outer_diameter_m)),
            ("length of the narrow path", _or_blank(valve.length_m)),
            ("head, air inlet above the mouth", format_length(valve.head_m)),
            ("opening", format_duration(valve.opening_s)),
            ("latency", format_duration(valve.latency_s)),
            *_list_liquid(rig, valve.output),
        ]
    for beam in rig.beams:
        tables[f"Beam {beam.input}"] = [
            ("height above the surface", format_length(beam.height_m)),
            ("edge that counts", beam.edge),
            ("blanking", format_duration(beam.blanking_s)),
        ]
    dish = rig.dish
    tables["Liquid and dish"] = [
        *_describe_liquid(rig.liquid),
        ("temperature of the air", f"{rig.site.air_temperature_k - 273.15:.1f} °C"),
        ("depth", format_length(dish.depth_m)),
        ("dish, inner diameter", _or_blank(dish.diameter_m)),
    ]
    for flash in rig.flashes:
        tables[f"Flash {flash.output}"] = [
            ("light lasts (t0.5)", format_duration(flash.duration_s)),
            ("contact to light", format_duration(flash.latency_s)),
            ("power", _BLANK),
            ("distance, direction", _BLANK),
        ]
    camera = rig.camera
    tables["Camera"] = [
        ("aperture", _BLANK if camera is None else f"f/{camera.aperture:g}"),
        ("magnification, sensor : scene", _BLANK if camera is None else f"{camera.magnification:g} : 1"),
        ("shutter", "bulb, dark room" if camera is None or camera.exposure_s is None
         else format_duration(camera.exposure_s)),
        ("sensitivity, lens, distance", _BLANK),
        ("backlight, top to bottom", f"{rig.light.top}, {rig.light.bottom}"),
    ]  # fmt: skip
    return tables


def _list_liquid(rig: Rig, valve: str) -> Rows:
    """The liquid of a valve's bottle, if it is not the dish's."""
    own = rig.find_liquid(valve)
    return [] if own is rig.liquid else [("own bottle", ""), *_describe_liquid(own)]


def _describe_liquid(liquid: LiquidInRig) -> Rows:
    measured = [
        (name, None if value is None else f"{value * factor:.4g} {unit}")
        for name, value, factor, unit in (
            ("density", liquid.density_kg_m3, 1.0, "kg/m³"),
            ("viscosity", liquid.viscosity_pa_s, 1e3, "mPa·s"),
            ("surface tension", liquid.surface_tension_n_m, 1e3, "mN/m"),
        )
    ]
    return [
        ("mix, parts by volume", name_liquid(liquid)),
        ("colour", liquid.colour),
        ("temperature of the liquid", f"{liquid.temperature_k - 273.15:.1f} °C"),
        *((name, value) for name, value in measured if value is not None),
    ]


def _list_picture(recipe: Recipe) -> Rows:
    events, looks = recipe.events, recipe.looks
    rows: Rows = []
    if events is not None and events.stage_s is not None:
        rows.append(("light after contact", format_ms(events.stage_s, 2)))
        rows.append(("drop 2 meets the jet at", f"{100 * events.moment:.0f} % of its rise"))
    if looks is not None:
        rows.append(
            (
                "drop",
                f"{looks.drop_m * 1e3:.1f} mm, {looks.speed_mm_s / 1e3:.2f} m/s at the surface",
            )
        )
        if looks.jet_m is not None:
            rows.append(("jet's height, calculated", f"{looks.jet_m * 1e3:.0f} mm"))
    rows += list_measured(recipe)
    rows += [("opening to beam", format_ms(one.arrival_s)) for one in recipe.drops]
    return rows


def _say_kind(recipe: Recipe) -> str:
    events = recipe.events
    if events is None:
        return recipe.rig.aim.kind
    return f"{events.kind} of {events.drops} drops" if events.drops > 1 else events.kind


def _or_blank(metres: float | None) -> str:
    return _BLANK if metres is None else format_length(metres)


def _make_table(name: str, rows: Iterable[tuple[str, str]]) -> str:
    lines = "".join(
        f'<tr><th scope="row">{show_html(key)}</th><td>{show_html(value)}</td></tr>'
        for key, value in rows
    )
    return f"<section><h2>{show_html(name)}</h2><table>{lines}</table></section>" if lines else ""
