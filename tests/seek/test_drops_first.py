"""Where nobody knows how fast drops start, two fall before the first picture, and the beam tells."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from beamfall.cli import main
from beamfall.planning.seek.answer import Answer, Shot, read_last_drop
from beamfall.planning.seek.search import Search
from beamfall.planning.seek.timing import Timing
from beamfall.planning.setting import compute_flow, make_setting
from beamfall.setup.rig import EXAMPLE, Rig, example_rig
from beamfall.shots import ShotLog, ShotRecord
from beamfall.workflows.steps import WarmingUp
from beamfall.workflows.words import say_warming_up

_VOLUME_M3 = 3.3e-8  # a drop of 4 mm
_HEAD_M = 0.4


def make_pushed() -> Rig:
    """The example rig with so much head that its valve throws the drops (invented)."""
    rig = example_rig()
    valve = replace(rig.valves[0], head_m=_HEAD_M)
    opening = compute_flow(valve, make_setting(rig)).find_opening(_VOLUME_M3)
    return replace(rig, valves=(replace(valve, opening_s=round(opening, 4)),))


def find_delays(search: Search) -> tuple[float, float]:
    """Mean and standard deviation of the delay that the contact needs after the last drop's edge."""
    weighted = search.weighted
    timing = Timing.predict(weighted.rigs, (0.0, 0.1))
    event, _ = weighted.find_event(timing, weighted.make_jet(timing))
    delay = event - weighted.find_last_edge(timing)
    good = np.isfinite(delay)
    weights = weighted.weights[good] / weighted.weights[good].sum()
    mean = float(weights @ delay[good])
    return mean, float(np.sqrt(weights @ (delay[good] - mean) ** 2))


def make_drop(search: Search, later_s: float = 0.0) -> Shot:
    """A drop like that of the middle rig, or one that comes to the beam later."""
    first = search.weighted.rigs.first
    edge = float(np.median(first.latency_s + first.to_edge_s)) + later_s
    return Shot((0.0,), edge, (edge,), (float(np.median(first.dwell_s)),))


def wants_drops(rig: Rig) -> bool:
    search = Search(rig, seed=1)
    return search.wants_drops(search.propose())


def test_drops_fall_first_only_where_the_beam_tells_much_about_the_flash() -> None:
    pushed = make_pushed()
    assert wants_drops(pushed)
    assert not wants_drops(example_rig()), "drops that drip all start alike"
    assert not wants_drops(replace(pushed, beams=()))
    other = replace(pushed.valves[0], output="valve2")
    assert not wants_drops(replace(pushed, valves=(*pushed.valves, other))), "whose drop was it?"
    known = replace(pushed, uncertainty=replace(pushed.uncertainty, latency_s=0.2))
    assert not wants_drops(known), "any start speed fits any arrival"


def test_a_drop_narrows_the_flashs_delay_and_is_asked_for_once() -> None:
    search = Search(make_pushed(), seed=1)
    _, before = find_delays(search)
    search.see_drop(make_drop(search))
    _, after = find_delays(search)
    assert after < 0.8 * before
    assert not search.wants_drops(search.propose())


def test_a_late_drop_is_slow_and_needs_a_later_flash() -> None:
    means = []
    for later_s in (-0.008, 0.008):
        search = Search(make_pushed(), seed=1)
        search.see_drop(make_drop(search, later_s))
        means.append(find_delays(search)[0])
    assert means[1] > means[0] + 0.002


def test_a_second_look_does_not_forget_the_drop() -> None:
    search = Search(make_pushed(), seed=1)
    search.see_drop(make_drop(search))
    known = search.weighted.moments()
    proposal = search.propose()
    search.take(Shot(proposal.times_s, 0.4), Answer("before"))
    search.look_again(0, Answer("black"))  # nothing is left but the drop
    assert np.allclose(search.weighted.moments()[0], known[0])


def test_a_latency_shorter_than_the_opening_is_no_misfit() -> None:
    """A drop comes free once its valve has closed, whatever the rig file guesses."""
    rig = example_rig()
    rig = replace(rig, valves=(replace(rig.valves[0], latency_s=0.005),))
    search = Search(rig, seed=1)
    proposal, first = search.propose(), search.weighted.rigs.first
    edge = rig.valves[0].opening_s + float(np.median(first.to_edge_s))
    last = edge + proposal.times_s[1]
    shot = Shot(proposal.times_s, last + proposal.delay_s, (edge, last))
    search.take(shot, Answer("after", age="just after"))
    assert not search.misfit


@pytest.fixture
def pushed_file(tmp_path: Path) -> str:
    valve = make_pushed().valves[0]
    text = EXAMPLE.read_text(encoding="utf-8")
    for key, value in (("head", "40 cm"), ("opening", f"{valve.opening_s * 1e3:.1f} ms")):
        (line,) = [one for one in text.splitlines() if one.startswith(f"{key} =")]
        text = text.replace(line, f'{key} = "{value}"')
    file = tmp_path / "pushed.toml"
    file.write_text(text, encoding="utf-8")
    return str(file)


def read_records() -> list[ShotRecord]:
    with ShotLog.open() as log:
        shots = sorted(line.shot for line in log.list_shots(limit=None))
        return [log.read_shot(shot).record for shot in shots]


def test_seek_lets_two_drops_fall_and_reads_the_second(
    pushed_file: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    seen: list[Shot] = []
    see_drop = Search.see_drop

    def note(search: Search, dropped: Shot) -> None:
        seen.append(dropped)
        see_drop(search, dropped)

    monkeypatch.setattr(Search, "see_drop", note)
    arguments = ["--port", "sim", "--seed", "1", "--shots", "1", "--fresh"]
    main(["seek", pushed_file, *arguments])
    assert say_warming_up(WarmingUp(2)) in capsys.readouterr().out
    first, second = read_records()
    assert first.swept == {"warm_up": 2} and second.swept == {"seek": 1}
    assert {edge.what for edge in first.edges if edge.ticks is not None} == {"valve1", "beam1"}
    opened, dark = (
        [one.ticks for one in first.edges if (one.what, one.edge) == wanted]
        for wanted in (("valve1", "on"), ("beam1", "dark"))
    )
    assert len(opened) == len(dark) == 2
    assert seen[0].find_edge(1) == pytest.approx((dark[1] - opened[1]) / first.clock_hz)


def test_a_lost_edge_teaches_nothing(pushed_file: str) -> None:
    main(["seek", pushed_file, "--port", "sim", "--seed", "1", "--shots", "1", "--fresh"])
    record, beam = read_records()[0], example_rig().beams[0]
    assert read_last_drop(record, beam, "valve1") is not None

    def without(what: str, edge: str) -> Any:
        last = [one for one in record.edges if (one.what, one.edge) == (what, edge)][-1]
        return replace(record, edges=tuple(one for one in record.edges if one is not last))

    assert read_last_drop(without("beam1", "dark"), beam, "valve1") is None
    assert read_last_drop(without("beam1", "clear"), beam, "valve1") is None
    assert read_last_drop(record, beam, "valve2") is None
