"""From planned times to the rows of a sequence: valves, flashes, camera, warm-up drops."""

from __future__ import annotations

from collections.abc import Sequence as SequenceOf
from dataclasses import dataclass

from beamfall.planning.result import AnchorEdge
from beamfall.setup.rig import Rig
from beamfall.setup.rig_sections import Valve
from beamfall.setup.sequence import Row, Sequence
from beamfall.setup.signals import Signal

EARLIEST_S = 0.001  # the first row's delay: no board honours 0
_MARGIN_S = 0.05
_WARM_UP_GAP_S = 0.7


@dataclass(frozen=True)
class Opening:
    """A valve's opening, `at_s` after the first one of the shot."""

    valve: Valve
    at_s: float


def find_lead(rig: Rig) -> float:
    """How long before the first valve opens the release is: the camera needs it."""
    camera = rig.camera
    return EARLIEST_S + (0.0 if camera is None else max(camera.focus_lead_s, camera.shutter_lead_s))


def build_sequence(
    rig: Rig,
    openings: SequenceOf[Opening],
    anchor: AnchorEdge,
    delay_s: float,
    last_edge_s: float,
    name: str,
) -> Sequence:
    """Return the sequence of a shot.

    `last_edge_s`: by when, after the first opening, the anchor's edge has surely come. All flashes
    give their light at once: each contact closes by what its flash is slower than the first.
    """
    lead = find_lead(rig)
    rows = [
        Row("release", 0, opening.valve.output, lead + opening.at_s, opening.valve.opening_s)
        for opening in openings
    ]
    slowest = rig.flashes[0].latency_s
    for flash in rig.flashes:
        delay = max(EARLIEST_S, delay_s + slowest - flash.latency_s)
        rows.append(Row(anchor.beam, anchor.count, flash.output, delay, flash.contact_s))
    due = lead + last_edge_s + _MARGIN_S
    last = (delay_s if anchor.count == 0 else due + delay_s) + 0.002
    camera = rig.camera
    if camera is not None:
        for output, before in (
            (Signal.focus, camera.focus_lead_s),
            (Signal.shutter, camera.shutter_lead_s),
        ):
            if output is Signal.shutter or before > 0.0:
                start = lead - before
                rows.append(Row("release", 0, output.name, start, last + camera.hold_s - start))
    edges = {beam.input: beam.edge for beam in rig.beams}
    used = next((beam for beam in rig.beams if beam.input == anchor.beam), None)
    return Sequence(
        rows=tuple(rows),
        window_s=max(rig.aim.window_s, due) if anchor.count else 0.0,
        tail_s=rig.aim.tail_s,
        blanking_s=used.blanking_s if used else 0.0,
        dwell_s=used.dwell_s if used else 0.0,
        beam1_edge=edges.get("beam1", "dark"),
        beam2_edge=edges.get("beam2", "dark"),
        name=name,
    )


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
