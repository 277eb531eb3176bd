"""The picture that a rig most likely takes with a sequence: the middle of what is known about it, without scatter."""

from __future__ import annotations

import heapq
from collections.abc import Mapping

from beamfall.link.traits import Prediction
from beamfall.setup.rig import Rig
from beamfall.setup.sequence import Sequence
from beamfall.setup.signals import Signal, SignalKind
from beamfall.sim.build import draw_model
from beamfall.sim.picture import SimulatedPicture, encode_scene
from beamfall.sim.rig import SimulatedRig, Splash

_CAPTION = "predicted, not a photograph"
_BEAMS = {int(signal): signal.name for signal in SignalKind.BEAM.signals}
_LONGEST_S = 10.0  # beam edges after this belong to no shot


def predict_picture(
    rig: Rig, sequence: Sequence, known: Mapping[str, float], pixels: int
) -> Prediction:
    """See `beamfall.ports.predict_picture`."""
    middle = make_middle_rig(rig, known)
    picture = SimulatedPicture(fire(middle, sequence), middle.model)
    return Prediction(encode_scene(picture.scene, _CAPTION, pixels), picture.shows, picture.stage_s)


def make_middle_rig(rig: Rig, known: Mapping[str, float] | None = None) -> SimulatedRig:
    """A rig in the middle of everything that its file, and what is `known` beyond it, leave open; without scatter."""
    return SimulatedRig(draw_model(rig, 0, spread=0.0, shift=known).without_scatter())


def fire(rig: SimulatedRig, sequence: Sequence) -> Splash:
    """Carry out a sequence on a rig, as a board does that is never late; return what it did to the liquid."""
    commands: list[tuple[int, int, int]] = []  # ticks, signal, level

    def start(anchor: str, count: int, ticks: int) -> None:
        for row in sequence.rows:
            if (row.anchor, row.count if row.anchor != "release" else 0) == (anchor, count):
                on = ticks + round(row.delay_s * rig.clock_hz)
                signal = int(Signal.of(row.output))
                heapq.heappush(commands, (on, signal, 1))
                heapq.heappush(commands, (on + round(row.width_s * rig.clock_hz), signal, 0))

    counted_edge = {"beam1": sequence.beam1_edge, "beam2": sequence.beam2_edge}
    counts: dict[str, int] = {}
    clear_from: dict[str, int] = {}  # when the blanking of a beam ends
    start("release", 0, 0)
    end = round(_LONGEST_S * rig.clock_hz)
    while True:
        edge = rig.next_edge(commands[0][0] if commands else end)
        if edge is not None:
            ticks, number, level = edge
            beam = _BEAMS.get(number, "")
            counts_now = ticks >= clear_from.get(beam, 0)
            if counts_now and counted_edge.get(beam) == ("clear", "dark")[level]:
                clear_from[beam] = ticks + round(sequence.blanking_s * rig.clock_hz)
                counts[beam] = counts.get(beam, 0) + 1
                start(beam, counts[beam], ticks)
        elif commands:
            ticks, number, level = heapq.heappop(commands)
            rig.drive(number, level, ticks)
        else:
            return rig.take_splash()
