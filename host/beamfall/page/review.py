"""The shot log, as the page lists it. Reading and writing go through `ShotLog`, each in the caller's thread."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from typing import Any

from beamfall.errors import BeamfallError
from beamfall.page.drawing import describe_shot_chart, read_scatter
from beamfall.page.hub import clean
from beamfall.page.pictures import find_pictures
from beamfall.page.words import say_anchor
from beamfall.photos.find import find_kind
from beamfall.plot.control import describe_quantity, is_drawn
from beamfall.plot.scene import to_json
from beamfall.repeatability import assess_series, read_series
from beamfall.repeatability.words import BY_CHANCE, list_outside, say_plainly, say_timing
from beamfall.shots import ShotLine, ShotLog, ShotRecord
from beamfall.shots.describe import describe_purpose, describe_record
from beamfall.shots.exposure import describe_exposure
from beamfall.shots.record import UNKNOWN
from beamfall.shots.repeat import compare_shots, find_peers
from beamfall.workflows.picture_reader import describe_logged


def list_lines(log: ShotLog) -> dict[str, Any]:
    """Every shot of the log, oldest first, by column, so that a name is sent once and not 10,000 times."""
    pictures = find_pictures(log)
    kinds = log.find_kinds()
    columns: dict[str, list[Any]] = {"shot": []}
    for line in log.list_shots(limit=None):
        for name, value in _describe(line, pictures, kinds).items():
            columns.setdefault(name, []).append(value)
    return {"lines": columns, "log": clean(str(log.path))}


def describe_shot_line(log: ShotLog, shot: int) -> dict[str, Any]:
    """One shot as a line of the list."""
    logged = log.read_shot(shot)
    kind = find_kind(log.path, logged)
    picture = {} if kind is None else {shot: kind}
    return _describe(logged.line, picture, log.find_kinds())


def _describe(
    line: ShotLine, pictures: Mapping[int, str], kinds: Mapping[int, str]
) -> dict[str, Any]:
    per_ms = line.clock_hz / 1e3
    delay, spacing = line.flash_delay_ticks, line.spacing_ticks
    return {
        "shot": line.shot,
        "series": line.series,
        "number": line.number,
        "time": line.begun_us / 1e3,
        "state": line.shown_state,
        "cause": line.cause,
        "rig": line.rig_name,
        "port": line.port,
        "anchor": say_anchor(line.anchor_beam or "", line.anchor_count if line.anchor_beam else 0),
        "delay_ms": None if delay is None else delay / per_ms,
        "spacing_ms": None if spacing is None else spacing / per_ms,
        "rating": line.rating,
        "note": line.note,
        "picture": pictures.get(line.shot),
        "kind": kinds.get(line.series, ""),
        "purpose": describe_purpose(line.swept),
    }


def describe_shot(log: ShotLog, shot: int) -> dict[str, Any]:
    """Everything about one shot."""
    logged = log.read_shot(shot)
    record = logged.record
    hz = record.clock_hz
    fields = {
        "line": describe_shot_line(log, shot),
        "words": say_shot(record, sees_light=logged.sees_light),
        "seen": say_seen(record),
        "board": dict(logged.board),
        "clock_mhz": hz / 1e6,
        "seed": record.seed,
        "counts": dict(record.counts),
        "unknown": record.state == UNKNOWN,
        "picture_file": None
        if record.picture is None
        else record.picture.replace("\\", "/").split("/")[-1],
        "exposure": describe_exposure(record),
        "measured": record.picture_measured,
        "measured_words": describe_logged(record),
        "keywords": list(record.keywords),
        "timeline": describe_shot_chart(
            record.to_json(), read_scatter(log, logged.line.series, shot)
        ),
        "edges": [
            {
                "what": edge.what,
                "edge": edge.edge,
                "planned_ms": None if edge.planned_ticks is None else edge.planned_ticks / hz * 1e3,
                "measured_ms": None if edge.ticks is None else edge.ticks / hz * 1e3,
                "source": edge.source,
            }
            for edge in record.edges
        ],
        "rig": logged.rig,
    }
    plain: dict[str, Any] = clean(fields)
    return plain


def compare(log: ShotLog, first: int, second: int) -> dict[str, Any]:
    """Two shots side by side, edge by edge, as `beamfall shots repeat` compares them."""
    one, other = log.read_shot(first), log.read_shot(second)
    changes = compare_shots(one.record, [other.record], find_peers(log, first))
    return {
        "first": describe_shot(log, first),
        "second": describe_shot(log, second),
        "edges": [change.to_json() for change in changes],
    }


def list_series(log: ShotLog) -> list[dict[str, Any]]:
    """The series that fired, newest first."""
    return [
        {"series": one.series, "kind": one.kind, "time": one.begun_us / 1e3, "shots": one.shots,
         "rig": one.rig_name}
        for one in reversed(log.list_series(limit=200))
        if one.shots
    ]  # fmt: skip


def assess(log: ShotLog, series: int) -> dict[str, Any]:
    """Repeatability of a series: the library's assessment, with the panels of its charts."""
    assessment = assess_series(read_series(log, series))
    content = assessment.to_json()
    content |= {"outside": list_outside(assessment), "by_chance": BY_CHANCE}
    content["flash"]["said_timing"] = say_timing(assessment.data.timing)
    for entry, quantity in zip(content["quantities"], assessment.quantities, strict=True):
        entry["said"] = say_plainly(quantity)
        entry["panels"] = to_json(describe_quantity(quantity)) if is_drawn(quantity) else []
    plain: dict[str, Any] = clean(content)
    return plain


def say_shot(record: ShotRecord, *, sees_light: bool = True) -> str:
    """Describe a shot in one line, in the words of `beamfall shoot`."""
    with contextlib.suppress(BeamfallError):
        return describe_record(record, sees_light=sees_light)
    return record.state


def say_seen(record: ShotRecord) -> str | None:
    """What the simulated camera saw, in a word; None for a real board."""
    if not (record.truth or {}).get("simulated"):
        return None
    return str(record.pictures[0]["shows"]) if record.pictures else "dark"
