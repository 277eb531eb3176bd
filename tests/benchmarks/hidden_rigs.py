"""Hidden rigs in a process of their own: they answer to shots, and tell their truth only at the end.

    python tests/benchmarks/hidden_rigs.py        (started by the other benchmarks, talks JSON lines)

The rigs and their worlds are in drawn_rigs.py. There is no firmware in between: an ideal board plays the sequence,
since what is asked here is what the planner is worth.
"""

from __future__ import annotations

import json
import random
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from drawn_rigs import draw_rig_file, draw_truth

from beamfall.planning.seek.answer import Answer
from beamfall.setup.rig import Rig
from beamfall.setup.signals import Signal
from beamfall.sim.scene import make_scene

if TYPE_CHECKING:
    from beamfall.photos.measure import Measured

_DROP_GAP_S = 0.7  # between drops that fall without a flash, as in planning.rows
_READ_PX = 600  # of the pictures that the reader measures


class Board:
    """An ideal board: plays a two-drop sequence on a simulated rig and says when things happened."""

    def __init__(self, rig: Any) -> None:
        self.rig = rig
        self._now_s = 1.0

    def play(self, spacing_s: float, opening_s: float, delay_s: float) -> dict[str, Any] | None:
        """Two openings of valve 1, a flash `delay_s` after drop 2's dark edge; None where it never came."""
        return self.play_drops([("valve1", at, opening_s) for at in (0.0, spacing_s)], delay_s)

    def play_drops(
        self, openings: list[tuple[str, float, float]], delay_s: float
    ) -> dict[str, Any] | None:
        """Openings (valve, when, how long) and a flash `delay_s` after the last drop's dark edge."""
        hz, start = self.rig.clock_hz, self._now_s
        self._now_s += 10.0

        def ticks(seconds: float) -> int:
            return round((start + seconds) * hz)

        edges: list[tuple[float, int]] = []

        def listen(until: float) -> None:
            while (edge := self.rig.next_edge(ticks(until))) is not None:
                if edge[1] == int(Signal["beam1"]):
                    edges.append((edge[0] / hz - start, edge[2]))

        changes = [(at, valve, 1) for valve, at, _ in openings]
        changes += [(at + open_s, valve, 0) for valve, at, open_s in openings]
        for at, valve, level in sorted(changes):
            listen(at)
            self.rig.drive(int(Signal[valve]), level, ticks(at))
        listen(1.5)
        count = len(openings)
        dark = [when for when, level in edges if level]
        if len(dark) < count:
            self.rig.take_splash()
            return None
        flash = dark[count - 1] + delay_s
        self.rig.drive(int(Signal["flash1"]), 1, ticks(flash))
        splash = self.rig.take_splash()
        clear = [when for when, level in edges if not level]
        return {
            "edges_s": dark[:count],
            "dwells_s": [b - a for a, b in zip(dark[:count], clear[:count], strict=False)],
            "flash_s": flash,
            "picture": splash.pictures[0],
            "scene": make_scene(splash, self.rig.model),
        }


def measure_time(picture: Any, chance: random.Random) -> dict[str, float]:
    """The time since the contact as it is measured in a photograph; empty where it is not sure.

    Our assumption, worse than tests/benchmarks/measured_pictures.py asks for: 0.15 ms and a tenth off, and of twenty
    pictures one is not sure and one is up to 3 ms off.
    """
    if (
        picture is None
        or picture.stage_s is None
        or picture.shows not in ("before", "contact", "after")
    ):
        return {}
    error, luck = 1.5e-4 + 0.1 * abs(picture.stage_s), chance.random()
    since = picture.stage_s + error * chance.gauss(0.0, 1.0)
    if luck < 0.05:
        return {}
    if luck < 0.1:
        since += chance.uniform(-0.003, 0.003)
    return {"since_s": since, "since_error_s": error}


class Reader:
    """Reads the simulated pictures of one search as `MeasuringReader` reads photographs, each framed for itself."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self.seen: list[Measured] = []

    def read(self, scene: Any, times_s: Sequence[float], shot: Mapping[str, Any]) -> Answer | None:
        """What is found in a picture and in the beam edges of its shot; None if it is not sure."""
        from beamfall.photos.measure import measure_pixels
        from beamfall.photos.measure.series import share_offset
        from beamfall.planning.in_flight import expect_drops
        from beamfall.planning.seek.answer import Shot
        from beamfall.sim.develop import render
        from beamfall.sim.picture import frame_action
        from beamfall.sim.raytrace import Frame
        from beamfall.workflows.picture_reader import make_answer
        from beamfall.workflows.picture_scene import make_picture_scene

        framed = frame_action(scene)
        edges, dwells = tuple(shot["edges_s"]), tuple(shot["dwells_s"])
        logged = Shot(tuple(times_s), shot["flash_s"], edges, dwells)
        known = replace(
            make_picture_scene(self.rig),
            scale_px_m=1e3 * Frame.of(framed, _READ_PX).per_mm,
            expected=expect_drops(self.rig, logged) if len(times_s) < 3 else (),
        )
        known = replace(known, drop_offset_m=share_offset(self.seen, known))
        measured = measure_pixels(render(framed, pixels=_READ_PX), known)
        self.seen.append(measured)
        return make_answer(measured)


def serve() -> None:
    """Answer JSON lines on the standard streams."""
    from beamfall.link.traits import Seen
    from beamfall.planning.openings import MEETING, find_gap
    from beamfall.sim.needs import Falling, find_needs
    from beamfall.sim.photographer import SimulatedPhotographer
    from beamfall.sim.rig import SimulatedRig

    board: Board | None = None
    reader: Reader | None = None
    person, reads, chance = SimulatedPhotographer(), False, random.Random()
    stages: list[float | None] = []
    pictures: list[Any] = []
    rig: Any = None
    for line in sys.stdin:
        order = json.loads(line)
        answer: Any
        match order["do"]:
            case "hide":
                number, world = order["number"], order["world"]
                aim = order.get("aim", "collision")
                drops, second = order.get("drops", 2), order.get("second")
                rig = draw_rig_file(number, world, drops, second).with_aim(kind=aim)
                board = Board(SimulatedRig(draw_truth(rig, number, world), number))
                wishes = dict(order.get("person", {}))
                reads, chance = wishes.pop("times", False), random.Random(f"times {number}")
                person = SimulatedPhotographer(number, **wishes)
                stages, pictures, reader = [], [], Reader(rig)
                answer = rig.to_dict()
            case "drop":  # two drops without a flash, of which the second is told
                assert board is not None
                valve = rig.list_drops()[0]
                fallen = [(valve.output, at, valve.opening_s) for at in (0.0, _DROP_GAP_S)]
                seen_by_beam = board.play_drops(fallen, 0.0)
                answer = seen_by_beam and {
                    "edge_s": seen_by_beam["edges_s"][1] - _DROP_GAP_S,
                    "dwell_s": seen_by_beam["dwells_s"][1],
                }
            case "fire":
                assert board is not None
                times = order.get("times_s") or (0.0, order["spacing_s"])
                kind = rig.aim.kind
                openings = [
                    (valve.output, at, valve.opening_s)
                    for valve, at in zip(rig.list_drops(), times, strict=True)
                ]
                shot = board.play_drops(openings, order["delay_s"])
                picture = None if shot is None else shot.pop("picture")
                scene = None if shot is None else shot.pop("scene")
                pictures.append(picture)
                stages.append(None if picture is None else picture.find_stage(kind))
                said = person.look(picture)
                seen = Answer(said.word, said.jet_m, said.drop_m, said.age, said.width_m)
                if reads == "read" and reader and shot and scene and scene["lit"]:
                    seen = reader.read(scene, times, shot) or seen
                elif reads is True:
                    seen = replace(seen, **measure_time(picture, chance))
                answer = {"shot": shot, **asdict(seen)}
            case "again":
                before = Seen(**{name: order["said"][name] for name in Seen._fields})
                answer = person.look_again(pictures[order["shot"]], before)._asdict()
            case "stages":
                answer = stages
            case "reveal":
                assert board is not None
                valves = rig.list_drops()
                falling = [
                    Falling(
                        Signal[one.output].number,
                        one.opening_s,
                        find_gap(valves, n) if n > 2 else 0.0,
                    )
                    for n, one in enumerate(valves, 1)
                ]
                needs = find_needs(
                    board.rig.model,
                    order.get("stage_s", 0.0),
                    MEETING,
                    drops=falling,
                    kind=rig.aim.kind,
                )
                answer = {"stages": stages, "needs": None if needs is None else vars(needs)}
            case other:
                raise ValueError(other)
        print(json.dumps(answer), flush=True)


class HiddenRigs:
    """The near end: starts the process and asks it."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, str(Path(__file__).resolve())],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def ask(self, do: str, **order: Any) -> Any:
        """One order and its answer."""
        assert self._process.stdin is not None and self._process.stdout is not None
        self._process.stdin.write(json.dumps({"do": do, **order}) + "\n")
        self._process.stdin.flush()
        return json.loads(self._process.stdout.readline())

    def __enter__(self) -> HiddenRigs:
        return self

    def __exit__(self, *_: object) -> None:
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._process.wait(10)


if __name__ == "__main__":
    serve()
