"""From planned times to the rows of a sequence: valves, flashes, camera, warm-up drops."""

from __future__ import annotations

from collections.abc import Sequence as SequenceOf
from dataclasses import replace
from typing import Any

from beamfall.planning.result import AnchorEdge, Caution, CautionKind, PlannedDrop
from beamfall.setup.rig import Rig
from beamfall.setup.rig_sections import Beam, Camera
from beamfall.setup.rig_shot import Firing
from beamfall.setup.sequence import Row, Sequence
from beamfall.setup.signals import Signal

EARLIEST_S = 0.001  # the first row's delay: no board honours 0
PRESS_S = 0.1  # how long the shutter's contact closes where the camera times the exposure itself
_MARGIN_S = 0.05
_SIGMAS = 3.0  # of the shutter's scatter, each way
_WARM_UP_GAP_S = 0.7


def find_lead(rig: Rig) -> float:
    """The time from the release to the first opening, which the camera needs."""
    camera = rig.camera
    if camera is None:
        return EARLIEST_S
    return EARLIEST_S + max(camera.focus_lead_s, camera.shutter_lead_s + camera.shutter_lag_s)


def find_flash(
    rig: Rig, anchor: AnchorEdge, delay_s: float, first_edge_s: float, last_edge_s: float
) -> tuple[float, float]:
    """Return when the flash's contact closes at the earliest and at the latest, from the release.

    Arguments as of `build_sequence`.
    """
    after = [firing.after_s for firing in rig.firings if firing.delay_s is None] or [0.0]
    early, late = delay_s + min(after), delay_s + max(after)
    if anchor.count == 0:
        return early, late
    lead = find_lead(rig)
    return lead + first_edge_s + early, lead + last_edge_s + late


def list_firings(rig: Rig, anchor: AnchorEdge, delay_s: float, *, once: bool = False) -> list[Row]:
    """The rows of the flashes; the picture's light is `delay_s` after the anchor, as the first flash gives it.

    Each contact closes by as much earlier as its flash is slower than the first. `once`: each flash at the picture's
    moment alone.
    """
    flashes = {flash.output: flash for flash in rig.flashes}
    firings = [
        one
        for one in rig.firings
        if one.flash in flashes and not (once and (one.after_s or one.delay_s))
    ] or [Firing(flash=output) for output in flashes]
    rows = []
    for firing in firings:
        flash = flashes[firing.flash]
        width = flash.contact_s if firing.width_s is None else firing.width_s
        beam, count, delay = anchor.beam, anchor.count, firing.delay_s
        if delay is None:
            delay = delay_s + (rig.flashes[0].latency_s - flash.latency_s + firing.after_s)
        elif firing.anchor is not None:
            beam, count = firing.anchor, firing.anchor_count or 0
        rows.append(Row(beam, count, flash.output, max(EARLIEST_S, delay), width))
    return rows


def warn_of_shutter(rig: Rig, flash_s: tuple[float, float]) -> list[Caution]:
    """What to change if the camera times the exposure itself and may miss a flash; otherwise empty."""
    camera = rig.camera
    if camera is None or camera.exposure_s is None:
        return []
    opened_s = _find_press(camera, flash_s) + camera.shutter_lag_s
    slack_s = _SIGMAS * camera.shutter_scatter_s
    if opened_s + slack_s <= flash_s[0] and flash_s[1] <= opened_s + camera.exposure_s - slack_s:
        return []
    need_s = find_exposure_need(flash_s, camera.shutter_scatter_s)
    text = (
        f"camera.exposure = {camera.exposure_s * 1e3:g} ms is too short to be sure of the flash, which comes between "
        f"{flash_s[0] * 1e3:.0f} and {flash_s[1] * 1e3:.0f} ms after the release: set {need_s * 1e3:.0f} ms or more, "
        "or bulb"
    )
    values = {"exposure_s": camera.exposure_s, "need_s": need_s}
    return [Caution(CautionKind.EXPOSURE, text, ("camera.exposure",), values)]


def find_exposure_need(flash_s: tuple[float, float], scatter_s: float) -> float:
    """Return the shortest shutter time that is certain to include a flash in that interval, in s."""
    return flash_s[1] - flash_s[0] + 2.0 * _SIGMAS * scatter_s + _MARGIN_S


def _find_press(camera: Camera, flash_s: tuple[float, float]) -> float:
    """When the contact closes, so that the flash is expected in the middle of the exposure."""
    assert camera.exposure_s is not None
    middle_s = 0.5 * (flash_s[0] + flash_s[1])
    earliest_s = EARLIEST_S + camera.focus_lead_s
    return max(earliest_s, middle_s - 0.5 * camera.exposure_s - camera.shutter_lag_s)


def build_sequence(
    rig: Rig,
    drops: SequenceOf[PlannedDrop],
    anchor: AnchorEdge,
    delay_s: float,
    last_edge_s: float,
    name: str,
    *,
    first_edge_s: float | None = None,
    once: bool = False,
) -> Sequence:
    """Return the sequence of a shot.

    `first_edge_s`, `last_edge_s`: between these, after the first opening, the anchor's edge surely comes (None: it
    always comes at the last). `once`: each flash fires for the picture alone, whatever [[firing]] tables say.
    """
    lead = find_lead(rig)
    rows = [
        Row("release", 0, drop.valve.output, lead + drop.at_s, drop.valve.opening_s)
        for drop in drops
    ]
    flashes = list_firings(rig, anchor, delay_s, once=once)
    rows += flashes
    due = lead + last_edge_s + _MARGIN_S
    last = max(row.delay_s + (due if row.count else 0.0) for row in flashes) + 0.002
    if rig.camera is not None:
        first_s = last_edge_s if first_edge_s is None else first_edge_s
        flash_s = find_flash(rig, anchor, delay_s, first_s, last_edge_s)
        rows += _list_contacts(rig.camera, lead, last, flash_s)
    used = next((beam for beam in rig.beams if beam.input == anchor.beam), None)
    return Sequence(
        rows=tuple(rows),
        window_s=max(rig.aim.window_s, due) if any(row.count for row in rows) else 0.0,
        tail_s=rig.aim.tail_s,
        **find_beam_settings(rig, used),
        name=name,
    )


def find_beam_settings(rig: Rig, used: Beam | None) -> dict[str, Any]:
    """What the rig's beams set in a sequence: the edges that count, and blanking and dwell of the beam that it uses."""
    edges = {f"{beam.input}_edge": beam.edge for beam in rig.beams}
    own = {} if used is None else {"blanking_s": used.blanking_s, "dwell_s": used.dwell_s}
    return {**edges, **own}


def _list_contacts(
    camera: Camera, lead_s: float, last_s: float, flash_s: tuple[float, float]
) -> list[Row]:
    """The rows of focus and shutter. On bulb both are held; else the camera times the exposure after a press."""
    if camera.exposure_s is None:
        shutter_s = lead_s - camera.shutter_lead_s - camera.shutter_lag_s
        focus_s, end_s = lead_s - camera.focus_lead_s, last_s + camera.hold_s
    else:
        shutter_s = _find_press(camera, flash_s)
        focus_s, end_s = shutter_s - camera.focus_lead_s, shutter_s + PRESS_S
    rows = [Row("release", 0, Signal.shutter.name, shutter_s, end_s - shutter_s)]
    if camera.focus_lead_s > 0.0:
        rows.insert(0, Row("release", 0, Signal.focus.name, focus_s, end_s - focus_s))
    return rows


def keep_open(row: Row, more_s: float) -> Row:
    """Return a row of the camera for a shot whose flash comes `more_s` later: held for longer, or pressed later."""
    if row.width_s > PRESS_S:
        return replace(row, width_s=row.width_s + more_s)
    return replace(row, delay_s=max(EARLIEST_S, row.delay_s + more_s))


def build_warm_up(rig: Rig, count: int) -> Sequence | None:
    """Return `count` drops of every valve, without flash or camera, to be let fall before a series.

    After a rest the first drops differ: liquid has crept or dried at the nozzle (common practice,
    no source).
    """
    if count == 0:
        return None
    rows = tuple(
        Row("release", 0, valve.output, EARLIEST_S + number * _WARM_UP_GAP_S, valve.opening_s)
        for valve in rig.valves
        for number in range(count)
    )
    return Sequence(rows=rows, tail_s=0.6, name=f"warm-up, {rig.name}")
