"""A contact sheet: one HTML file that needs nothing else, with every shot's picture and figures."""

from __future__ import annotations

import base64
import html
import json
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from beamfall.errors import PictureError, UserError
from beamfall.photos.thumbnail import make_thumbnail
from beamfall.setup.signals import SignalKind

if TYPE_CHECKING:
    from beamfall.shots import ShotLog


@dataclass(frozen=True, slots=True)
class Sheet:
    """What was written."""

    shots: int
    pictures: int
    problems: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Card:
    """One shot on the sheet. `keys` are what it can be sorted by, numbers; None sorts last."""

    shot: int
    state: str
    facts: tuple[tuple[str, str], ...]
    rating: int | None
    note: str
    picture: str | None
    keys: dict[str, float | None]


def write_sheet(log: ShotLog, series: int, file: Path, width: int) -> Sheet:
    """Write the contact sheet of a series; raises UserError where the file cannot be written."""
    cards, orders = read_cards(log, series)
    problems: list[str] = []
    shown = 0
    blocks = []
    for card in cards:
        image = None
        if card.picture is not None:
            try:
                image = make_thumbnail(Path(card.picture), width)
                shown += 1
            except PictureError as error:
                problems.append(f"shot {card.shot}: {error}")
        blocks.append(_draw_card(card, image))
    line = log.query(
        "SELECT series.kind, series.name, rig.name, series.begun_us, series.note FROM series"
        " LEFT JOIN rig ON rig.id = series.rig_id WHERE series.id = ?",
        (series,),
    )[0]
    kind, name, rig, begun_us, note = line
    begun = datetime.fromtimestamp(begun_us / 1e6, UTC).astimezone().strftime("%Y-%m-%d %H:%M")
    parts = [f"{kind}{f' {name}' if name else ''}", rig or "", begun, f"{len(cards)} shots",
             f"{shown} with a picture"]  # fmt: skip
    options = "".join(
        f'<option value="{html.escape(one)}">{html.escape(one)}</option>' for one in orders
    )
    text = fill_page(
        Path(__file__).with_name("sheet.html"),
        title=f"Series {series}",
        subtitle=html.escape(" · ".join(part for part in parts if part)),
        note=f"<p>{html.escape(note)}</p>" if note else "",
        options=options,
        width=str(width),
        cards="\n".join(blocks),
    )
    try:
        file.write_text(text, encoding="utf-8")
    except OSError as error:
        raise UserError(f"{file} cannot be written ({error.strerror or error})") from error
    return Sheet(len(cards), shown, tuple(problems))


def read_cards(log: ShotLog, series: int) -> tuple[list[Card], list[str]]:
    """Return a card for each shot of a series, in order, and what they can be sorted by, best first."""
    flashes = ", ".join("?" * len(SignalKind.FLASH.signals))
    rows = log.query(
        "SELECT shot.id, shot.begun_us, CASE shot.state WHEN 'begun' THEN 'outcome unknown' ELSE"
        " shot.state END, shot.cause, shot.swept, shot.rating, shot.note, shot.picture,"
        " shot.flash_delay_ticks * 1000.0 / sequence.clock_hz,"
        " shot.spacing_ticks * 1000.0 / sequence.clock_hz,"
        f" (SELECT min(ticks) FROM edge WHERE edge.shot_id = shot.id AND what IN ({flashes})"
        "  AND edge = 'on') * 1000.0 / sequence.clock_hz"
        " FROM shot JOIN sequence ON sequence.id = shot.sequence_id WHERE shot.series_id = ?"
        " ORDER BY shot.id",
        (*SignalKind.FLASH.names, series),
    )
    cards = []
    swept_names: dict[str, None] = {}
    for shot, begun_us, state, cause, swept, rating, note, picture, delay, spacing, flash in rows:
        values = _flatten_swept(json.loads(swept) if swept else {})
        swept_names |= dict.fromkeys(values)
        facts = [(name, f"{value:g}") for name, value in values.items()]
        for name, value in (("flash delay", delay), ("spacing", spacing), ("flash at", flash)):
            if value is not None:
                facts.append((name, f"{value:.3f} ms"))
        facts.append(
            ("time", datetime.fromtimestamp(begun_us / 1e6, UTC).astimezone().strftime("%H:%M:%S"))
        )
        cards.append(
            Card(
                shot=shot,
                state=state if cause is None else f"{state} ({cause})",
                facts=tuple(facts),
                rating=rating,
                note=note,
                picture=picture,
                keys={
                    "shot": shot,
                    "rating": None if rating is None else -rating,
                    "flash delay": delay,
                    "spacing": spacing,
                    **values,
                },
            )
        )
    fixed = ["shot", "rating", "flash delay", "spacing"]
    orders = [*swept_names, *(name for name in fixed if name not in swept_names)]
    used = [name for name in orders if any(card.keys.get(name) is not None for card in cards)]
    return cards, used


def fill_page(template: Path, **values: str) -> str:
    """Put values into the <<names>> of a page, in one pass: what a value contains stays as it is."""
    return re.sub(
        r"<<(\w+)>>", lambda found: values[found.group(1)], template.read_text(encoding="utf-8")
    )


def _flatten_swept(swept: dict[str, Any]) -> dict[str, float]:
    """What was swept, as names and numbers: `{'of': 'flash', 'value_ms': 190}` is 'flash, ms'."""
    found: dict[str, float] = {}
    for key, value in swept.items():
        if isinstance(value, bool) or not isinstance(value, int | float):
            continue
        if key == "value_ms":
            found[f"{swept.get('of', 'swept value')}, ms"] = float(value)
        elif key not in ("step", "repeat"):
            found[key] = float(value)
    return found


def _draw_card(card: Card, image: bytes | None) -> str:
    keys = html.escape(json.dumps(card.keys), quote=True)
    if image is None:
        words = "no picture" if card.picture is None else "picture cannot be shown"
        shown = f'<div class="none">{words}</div>'
    else:
        data = base64.b64encode(image).decode()
        shown = f'<img alt="shot {card.shot}" loading="lazy" src="data:image/jpeg;base64,{data}">'
    facts = "".join(
        f"<dt>{html.escape(name)}</dt><dd>{html.escape(value)}</dd>" for name, value in card.facts
    )
    stars = "" if card.rating is None else "★" * card.rating + "☆" * (5 - card.rating)
    rating = f'<span class="stars" title="rated {card.rating} of 5">{stars}</span>' if stars else ""
    state = "" if card.state == "fired" else f'<p class="state">{html.escape(card.state)}</p>'
    note = f'<p class="note">{html.escape(card.note)}</p>' if card.note else ""
    name = html.escape(Path(card.picture).name) if card.picture else ""
    return (
        f'<article data-keys="{keys}">{shown}<header><h2>{card.shot}</h2>{rating}'
        f'<span class="file">{name}</span></header>{state}<dl>{facts}</dl>{note}</article>'
    )
