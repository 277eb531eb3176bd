"""A sequence as a picture before it is fired: bars, arrows to the beam's edges, limits where they bite."""

from __future__ import annotations

from pathlib import Path

import pytest
from command_line import run_cli
from two_drops import make_two_drops

from beamfall.planning.expected import expect_edges
from beamfall.planning.make import make_plan
from beamfall.plot.scene import Arrow, Bar, Panel
from beamfall.plot.sequence import describe_sequence
from beamfall.setup.limits import BoardLimits
from beamfall.setup.rig import example_rig
from beamfall.setup.sequence import Sequence

EDGES = {"beam1": (0.26, 0.345)}


def make_shot(second_s: float = 0.185, flash_s: float = 0.19) -> Sequence:
    return make_two_drops(second_s, flash_s, name="two drops")


def draw(shot: Sequence) -> Panel:
    return describe_sequence(shot, BoardLimits(), EDGES).panels[0][0]


def bars(panel: Panel) -> dict[int, Bar]:
    """The bars of the rows, by their place in the sequence."""
    return {
        one.handle: one for one in panel.shapes if isinstance(one, Bar) and one.handle is not None
    }


def test_a_row_that_follows_a_beam_is_drawn_after_its_edge_with_an_arrow_from_it() -> None:
    panel = draw(make_shot())
    found = bars(panel)
    assert [found[n].start for n in range(3)] == pytest.approx([100.0, 185.0, 345.0 + 190.0])
    (arrow,) = (one for one in panel.shapes if isinstance(one, Arrow))
    assert (arrow.start, arrow.end) == pytest.approx((345.0, 535.0))
    beam = next(y for y, row in enumerate(panel.rows) if row.role == "beam")
    assert arrow.foot == pytest.approx(beam, abs=0.5)


def test_the_limit_that_bites_is_at_its_bar_and_its_lane() -> None:
    """The valve takes 2 ms to close: hardware/limits.md."""
    rests = [
        one for one in draw(make_shot()).shapes if isinstance(one, Bar) and one.role == "limit"
    ]
    assert (rests[0].start, rests[0].end) == pytest.approx((113.0, 115.0))
    assert not any(row.alert for row in draw(make_shot(second_s=0.115)).rows)
    panel = draw(make_shot(second_s=0.1145))  # half a millisecond earlier
    assert bars(panel)[1].role == "bad"
    assert bars(panel)[0].role == bars(draw(make_shot()))[0].role == "valve"
    assert [row.role for row in panel.rows if row.alert] == ["valve"]


def test_edges_are_expected_when_the_drops_of_the_rig_reach_its_beam() -> None:
    plan = make_plan(example_rig(), traced=True)
    assert plan.trace is not None
    first, second = (drop[3] for drop in plan.trace["drops"])  # from the first opening
    opened = min(row.delay_s for row in plan.sequence.rows if row.output.startswith("valve"))
    expected = expect_edges(plan.sequence, plan)["beam1"]
    assert expected == pytest.approx(
        [opened + one for one in (first, second)][: len(expected)], abs=1e-3
    )
    known_order = expect_edges(make_shot(), None)["beam1"]
    assert list(known_order) == sorted(known_order)


def test_the_check_draws_a_sequence_also_where_it_breaks_a_rule(tmp_path: Path) -> None:
    file = tmp_path / "close.toml"
    rows = "".join(
        f'[[row]]\noutput = "valve1"\ndelay = "{delay} ms"\nwidth = "13 ms"\n'
        for delay in (100, 114)
    )
    file.write_text(rows, encoding="utf-8")
    done = run_cli("sequence", "check", str(file), "--plot", "close.svg", folder=tmp_path)
    assert done.returncode == 2
    assert b"<svg" in (tmp_path / "close.svg").read_bytes()
