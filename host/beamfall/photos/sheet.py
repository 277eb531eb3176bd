"""A contact sheet: one HTML file that needs nothing else, with every shot's picture and figures."""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from beamfall.errors import PictureError
from beamfall.files import write_text
from beamfall.photos.find import load_picture
from beamfall.setup.signals import SignalKind
from beamfall.shots import ShotLog
from beamfall.shots.pulses import find_times
from beamfall.text import say_count, show_html

_FOUND = "seek: found"  # the note of the picture that a search was for


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
    begun_us: int
    rig: str
    state: str
    facts: tuple[tuple[str, str], ...]
    rating: int | None
    note: str
    picture: str | None
    keys: dict[str, float | None]
    is_best: bool = False


def write_sheet(log: ShotLog, series: int, file: Path, width: int) -> Sheet:
    """Write the contact sheet of a series; raises FileWriteError if the file cannot be written."""
    cards, orders = read_cards(log, series)
    problems: list[str] = []
    shown = 0
    blocks = []
    for card in cards:
        image, instead = None, "no picture"
        try:
            image = load_picture(log.path, log.read_shot(card.shot), width)
            shown += image is not None
        except PictureError as error:
            instead = "picture cannot be shown"
            problems.append(f"shot {card.shot}: {error}")
        blocks.append(_draw_card(card, image, instead))
    record = log.read_series(series)
    rig = next((card.rig for card in cards if card.rig), "")
    begun = (
        datetime.fromtimestamp(record.begun_us / 1e6, UTC).astimezone().strftime("%Y-%m-%d %H:%M")
    )
    parts = [f"{record.kind} {record.name}".strip(), rig, begun, say_count(len(cards), "shot"),
             f"{shown} with a picture"]  # fmt: skip
    options = "".join(
        f'<option value="{show_html(one)}">{show_html(one)}</option>' for one in orders
    )
    text = fill_page(
        Path(__file__).with_name("sheet.html"),
        title=f"Series {series}",
        subtitle=show_html(" · ".join(part for part in parts if part)),
        note=f"<p>{show_html(record.note)}</p>" if record.note else "",
        options=options,
        width=str(width),
        cards="\n".join(blocks),
    )
    write_text(file, text)
    return Sheet(len(cards), shown, tuple(problems))


def read_cards(log: ShotLog, series: int) -> tuple[list[Card], list[str]]:
    """Return a card for each shot of a series, in order, and what they can be sorted by, best first."""
    cards = []
    swept_names: dict[str, None] = {}
    for logged in log.read_shots(series=series):
        record = logged.record
        per_ms = record.clock_hz / 1e3
        values = _flatten_swept(record.swept or {})
        swept_names |= dict.fromkeys(values)
        facts = [(name, f"{value:g}") for name, value in values.items()]
        flashed = find_times(record.edges, SignalKind.FLASH)
        times = {
            "flash delay": record.flash_delay_ticks,
            "spacing": record.spacing_ticks,
            "flash at": min(flashed, default=None),
        }
        known = {name: None if ticks is None else ticks / per_ms for name, ticks in times.items()}
        facts += [(name, f"{value:.3f} ms") for name, value in known.items() if value is not None]
        begun_us = record.begun_us or 0
        begun = datetime.fromtimestamp(begun_us / 1e6, UTC).astimezone()
        facts.append(("time", begun.strftime("%H:%M:%S")))
        cards.append(
            Card(
                shot=record.shot or 0,
                begun_us=begun_us,
                rig=logged.line.rig_name or "",
                state=record.state if record.cause is None else f"{record.state} ({record.cause})",
                facts=tuple(facts),
                rating=record.rating,
                note=record.note,
                picture=record.picture,
                keys={
                    "shot": record.shot,
                    "rating": None if record.rating is None else -record.rating,
                    "flash delay": known["flash delay"],
                    "spacing": known["spacing"],
                    **values,
                },
            )
        )
    best = max((card.rating or 0 for card in cards), default=0)
    cards = [
        replace(card, is_best=card.rating == best if best else card.note == _FOUND)
        for card in cards
    ]
    fixed = ["shot", "rating", "flash delay", "spacing"]
    orders = [*swept_names, *(name for name in fixed if name not in swept_names)]
    used = [name for name in orders if any(card.keys.get(name) is not None for card in cards)]
    return cards, used


def fill_page(template: Path, **values: str) -> str:
    """Put values into the <<names>> of a page, in one pass: what a value contains stays as it is."""
    return re.sub(
        r"<<(\w+)>>", lambda found: values[found.group(1)], template.read_text(encoding="utf-8")
    )


def _flatten_swept(swept: Mapping[str, Any]) -> dict[str, float]:
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


def _draw_card(card: Card, image: bytes | None, instead: str) -> str:
    keys = show_html(json.dumps(card.keys))
    if image is None:
        shown = f'<div class="none">{instead}</div>'
    else:
        data = base64.b64encode(image).decode()
        shown = f'<img alt="shot {card.shot}" loading="lazy" src="data:image/jpeg;base64,{data}">'
    best = '<span class="best">best</span>' if card.is_best else ""
    facts = "".join(
        f"<dt>{show_html(name)}</dt><dd>{show_html(value)}</dd>" for name, value in card.facts
    )
    stars = "" if card.rating is None else "★" * card.rating + "☆" * (5 - card.rating)
    rating = f'<span class="stars" title="rated {card.rating} of 5">{stars}</span>' if stars else ""
    state = "" if card.state == "fired" else f'<p class="state">{show_html(card.state)}</p>'
    note = f'<p class="note">{show_html(card.note)}</p>' if card.note else ""
    name = show_html(Path(card.picture).name) if card.picture else ""
    return (
        f'<article data-keys="{keys}"{" class=is-best" if card.is_best else ""}>{shown}'
        f"<header><h2>Shot {card.shot}</h2>{best}{rating}"
        f'<span class="file">{name}</span></header>{state}<dl>{facts}</dl>{note}</article>'
    )
