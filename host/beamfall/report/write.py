"""Writes the report: a page and its plots, into a folder."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from beamfall.errors import NoSuchShot, PictureError
from beamfall.files import explain_write, write_bytes, write_text
from beamfall.photos.find import load_picture
from beamfall.photos.sheet import Card, fill_page, read_cards
from beamfall.plot.control import describe_control
from beamfall.plot.draw import draw_chart
from beamfall.plot.scene import Chart
from beamfall.plot.timeline import describe_timeline
from beamfall.repeatability import Assessment, assess_series, read_series
from beamfall.repeatability.words import (
    BY_CHANCE,
    SIMULATED,
    is_steady,
    list_drifts,
    list_outside,
    list_spread,
    say_steady,
)
from beamfall.report.plots import SweptShot, describe_scatter, describe_sweep
from beamfall.setup.rig import Rig
from beamfall.shots import LoggedShot, ShotLog
from beamfall.text import say_count, show_html

_PICTURES_MOST = 12
_THUMBNAIL = 480


def write_report(log: ShotLog, series: int, folder: Path) -> tuple[Path, ...]:
    """Write `index.html` and its plots into `folder`, made where needed; return them, the page first.

    Raises NoSuchShot if the series has no shot, FileWriteError if something cannot be written.
    """
    cards, orders = read_cards(log, series)
    if not cards:
        raise NoSuchShot(f"series {series} has no shot to report on; `beamfall shots list`")
    with explain_write(folder):
        folder.mkdir(parents=True, exist_ok=True)
    best = _choose_shot(cards)
    logged = log.read_shot(best.shot)
    assessment = _assess(log, series)
    page = folder / "index.html"
    files = [page]

    def save(chart: Chart, name: str) -> str:
        file = folder / name
        draw_chart(chart, file)
        files.append(file)
        return name

    sections = (
        _describe_setup(log, series, logged, cards),
        _draw_timeline(logged, best, save),
        "" if assessment is None else _describe_scatter(assessment, save),
        _describe_sweep(log, cards, orders, save),
        _show_pictures(log, cards, folder, files),
        _list_shots(cards),
    )
    write_text(
        page,
        fill_page(
            Path(__file__).with_name("report.html"),
            title=f"Series {series}",
            summary=_summarise(cards, assessment),
            sections="\n".join(section for section in sections if section),
            made=datetime.now(UTC).astimezone().strftime("%Y-%m-%d %H:%M"),
        ),
    )
    return tuple(files)


def _choose_shot(cards: Sequence[Card]) -> Card:
    """The shot to show: the best rated, else the middle one of those that fired."""
    rated = [card for card in cards if card.rating is not None]
    if rated:
        return max(rated, key=lambda card: card.rating or 0)
    fired = [card for card in cards if card.state == "fired"] or list(cards)
    return fired[len(fired) // 2]


def _assess(log: ShotLog, series: int) -> Assessment | None:
    try:
        return assess_series(read_series(log, series))
    except NoSuchShot:
        return None  # none of its shots was completed


def _summarise(cards: Sequence[Card], assessment: Assessment | None) -> str:
    fired = sum(card.state == "fired" for card in cards)
    text = [f"<p>{fired} of {len(cards)} shots fired."]
    if assessment is not None:
        spreads = [(q, q.spread) for q in assessment.quantities if q.name == "arrival" and q.spread]
        for last, spread in spreads[-1:]:
            path = (
                ""
                if last.scene_mm is None
                else f": it falls {last.scene_mm:.2f} mm in that time at the surface"
            )
            text.append(
                f" The arrival of {last.of} scatters by {spread.deviation * 1e6:.0f} µs{path}."
            )
    text.append("</p>")
    if assessment is not None:
        if assessment.findings:
            items = "".join(
                f"<li><strong>{show_html(one.name.replace('-', ' '))}</strong>: {show_html(one.text)}</li>"
                for one in assessment.findings
            )
            text.append(f'<ul class="findings">{items}</ul>')
        else:
            good = ' class="good"' if is_steady(assessment) else ""
            text.append(f"<p{good}>{show_html(say_steady(assessment))}</p>")
        text.append(_say_outside(assessment))
    return "".join(text)


def _say_outside(assessment: Assessment) -> str:
    """Name the points beyond their limits: a red dot shows neither which shot it was nor how unusual it is."""
    outside = list_outside(assessment)
    if not outside:
        return ""
    items = "".join(f"<li>{show_html(text)}</li>" for text in outside)
    return f"<p>Unusual shots (beyond the control limits). {BY_CHANCE}</p><ul>{items}</ul>"


def _describe_setup(log: ShotLog, series: int, logged: LoggedShot, cards: Sequence[Card]) -> str:
    record = log.read_series(series)
    begun_us, ended_us = cards[0].begun_us, max(card.begun_us for card in cards)
    begun = datetime.fromtimestamp(begun_us / 1e6, UTC).astimezone()
    board, rig = logged.board, logged.known_rig
    pairs = [
        ("what", f"{record.kind} {record.name}".strip()),
        ("when", f"{begun:%Y-%m-%d %H:%M}, over {(ended_us - begun_us) / 60e6:.1f} minutes"),
        *_describe_rig(rig),
        ("board", f"{board['name']} {board['unique_id']}, firmware {board['firmware']}"),
        ("timing", f"{board['timing']}, clock {board['clock_hz'] / 1e6:g} MHz"),
        ("note", record.note),
    ]
    if logged.is_simulated:
        pairs.insert(0, ("simulated", "a simulated rig fired these shots; no drop fell"))
    return f"<section><h2>Setup</h2>{_table_of_pairs(pairs)}</section>"


def _describe_rig(rig: Rig | None) -> list[tuple[str, str]]:
    if rig is None:
        return [("rig", "none")]
    mixed = " + ".join(f"{share:g} {name}" for name, share in rig.liquid.parts)
    valves, beams = (
        ", ".join(f"{name} at {height_m * 100:g} cm" for name, height_m in parts)
        for parts in (
            [(one.output, one.height_m) for one in rig.valves],
            [(one.input, one.height_m) for one in rig.beams],
        )
    )
    return [
        ("rig", rig.name),
        ("liquid", mixed or rig.liquid.name),
        ("valves", valves),
        ("beams", beams),
    ]


def _draw_timeline(logged: LoggedShot, card: Card, save: Any) -> str:
    if not logged.record.edges:
        return ""

    name = save(describe_timeline(logged.record.to_json()), "timeline.png")
    why = "the best rated" if card.rating is not None else "from the middle of the series"
    return (
        f"<section><h2>One shot</h2><p>Shot {card.shot}, {why}: planned and measured times, counted from the "
        f"release.</p>{_plot(name, f'Timeline of shot {card.shot}')}</section>"
    )


def _describe_scatter(assessment: Assessment, save: Any) -> str:
    chart = describe_scatter(assessment)
    if chart is None:
        return ""
    rows = []
    for one in assessment.quantities:
        if one.spread is None:
            continue
        trend = "" if one.by_shot is None else f"{1e8 * one.by_shot.slope:+.1f} µs"
        rows.append(
            (
                f"{one.of}, {one.name}",
                str(one.spread.count),
                *list_spread(one.name, one.spread),
                "" if one.scene_mm is None else f"{one.scene_mm:.3f}",
                trend,
            )
        )
    flash = assessment.flash
    own = ""
    if flash is not None and assessment.data.flash_stamped:
        tick_us = 1e6 / assessment.data.clock_hz
        worst_us = assessment.flash_worst_s * 1e6
        size = f"{worst_us:.3f} µs" if worst_us >= tick_us else f"one tick ({tick_us:.3g} µs)"
        by = (
            "in simulated time, which says nothing about the timing of real hardware"
            if assessment.data.timing == SIMULATED
            else "timed by the board at its output"
        )
        own = (
            f"<p>The flash contact closed within {size} of its planned time, every time "
            f"({flash.count} flashes, {by}).</p>"
        )
    elif flash is not None:
        own = "<p>The board did not time its flash output, so the flash's own error is unknown.</p>"
    parts = [
        "<section><h2>Scatter</h2><p>Arrival is the time from the valve's opening to the beam. Spacing is "
        "measured minus commanded. Millimetres are how far a drop falls in the scatter time.</p>",
        _table(("what", "shots", "mean", "scatter", "95 % interval", "mm", "per 100 shots"), rows),
        _list_drifts(list_drifts(assessment)),
        own,
        _plot(save(chart, "scatter.png"), "Scatter of arrivals and spacings"),
        "</section>",
    ]
    if any(len(one.values_s) >= 2 for one in assessment.quantities if one.name == "arrival"):
        name = save(describe_control(assessment), "control.png")
        parts.append(
            "<section><h2>Control charts</h2><p>Dashed lines are the limits of single values (mean moving range × "
            "2.66), the shaded band those of the moving average. Points outside are red. They are named above, and may "
            f"have a cause worth finding.</p>{_plot(name, 'Control charts')}</section>"
        )
    return "".join(parts)


def _list_drifts(drifts: Sequence[str]) -> str:
    items = "".join(f"<li>{show_html(text)}</li>" for text in drifts)
    return f"<p>Trends over the series:</p><ul>{items}</ul>" if items else ""


def _plot(name: str, what: str) -> str:
    """A plot that opens at full size on its own: on a telephone it is too small to read in the page."""
    alt = show_html(what)
    return (
        f'<figure class="plot"><a href="{name}" title="Enlarge"><img src="{name}" alt="{alt}"></a>'
        f'<figcaption>{alt}. <a href="{name}">Enlarge</a></figcaption></figure>'
    )


def _describe_sweep(log: ShotLog, cards: Sequence[Card], orders: Sequence[str], save: Any) -> str:
    swept = [name for name in orders if name not in ("shot", "rating", "flash delay", "spacing")]
    if not swept:
        return ""
    label = swept[0]
    shots = []
    for card in cards:
        value = card.keys.get(label)
        if value is not None:
            pictures = log.read_shot(card.shot).record.pictures or [{}]
            shots.append(SweptShot(value, card.rating, pictures[0].get("stage_ms")))
    chart = describe_sweep(shots, label) if shots else None
    if chart is None:
        return ""
    return (
        f"<section><h2>Sweep</h2><p>This series stepped through values of the {show_html(label)}.</p>"
        f"{_plot(save(chart, 'sweep.png'), f'Sweep of {label}')}</section>"
    )


def _show_pictures(log: ShotLog, cards: Sequence[Card], folder: Path, files: list[Path]) -> str:
    """The best rated first; photographs go before simulated pictures."""
    simulated = False
    shown: list[str] = []
    for card in sorted(cards, key=lambda one: (one.picture is None, -(one.rating or 0))):
        if len(shown) == _PICTURES_MOST:
            break
        try:
            data = load_picture(log.path, log.read_shot(card.shot), _THUMBNAIL)
        except PictureError:
            continue
        if data is None:
            continue
        simulated = simulated or card.picture is None
        file = folder / f"shot-{card.shot:06d}.jpg"
        write_bytes(file, data)
        files.append(file)
        stars = "★" * card.rating if card.rating else ""
        shown.append(
            f'<figure><img src="{file.name}" alt="Picture of shot {card.shot}">'
            f"<figcaption>shot {card.shot} {stars} {show_html(card.note)}</figcaption></figure>"
        )
    if not shown:
        return ""
    title = "Pictures" if simulated else "Photographs"
    return f'<section><h2>{title}</h2><div class="pictures">{"".join(shown)}</div></section>'


def _list_shots(cards: Sequence[Card]) -> str:
    names = list(dict.fromkeys(name for card in cards for name, _ in card.facts))
    rows = []
    for card in cards:
        facts = dict(card.facts)
        stars = "★" * card.rating if card.rating else ""
        rows.append(
            (str(card.shot), card.state, *(facts.get(name, "") for name in names), stars, card.note)
        )
    table = _table(("shot", "state", *names, "rating", "note"), rows)
    count = say_count(len(rows), "shot")
    return (
        f"<section><h2>All shots</h2><details><summary>{count}</summary>{table}</details></section>"
    )


def _table_of_pairs(pairs: Iterable[tuple[str, str]]) -> str:
    rows = "".join(
        f"<tr><th scope='row'>{show_html(name)}</th><td>{show_html(value)}</td></tr>"
        for name, value in pairs
        if value
    )
    return f'<table class="pairs">{rows}</table>'


def _table(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    head = "".join(f"<th scope='col'>{show_html(name)}</th>" for name in columns)
    body = "".join(
        "<tr>" + "".join(f"<td>{show_html(cell)}</td>" for cell in row) + "</tr>" for row in rows
    )
    return f'<div class="wide"><table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>'
