"""The timeline shows what the record says, where the record says it."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure
from tiers import in_full

from beamfall.errors import FileWriteError, UserError
from beamfall.plot.draw import draw_chart, make_figure
from beamfall.plot.scene import Bar, Dots, Line, Stems, to_json
from beamfall.plot.timeline import Scatter, describe_timeline

HZ = 125_000_000


def ticks(ms: float | None) -> int | None:
    return None if ms is None else round(ms * HZ / 1000)


def edge(what: str, word: str, planned: float | None, measured: float | None) -> dict[str, Any]:
    return {
        "what": what,
        "edge": word,
        "planned_ticks": ticks(planned),
        "ticks": ticks(measured),
        "source": "stamped",
    }


def make_record(**changes: Any) -> dict[str, Any]:
    return {
        "shot": 12,
        "state": "fired",
        "cause": None,
        "seed": 7,
        "clock_hz": HZ,
        "timing": "simulated",
        "anchor": {"beam": "beam1", "edge": "dark", "count": 2},
        "planned": {"flash_delay_ticks": ticks(190.0), "spacing_ticks": ticks(85.0)},
        "edges": [
            edge("valve1", "on", 100, 100),
            edge("valve1", "off", 113, 113),
            edge("valve1", "on", 185, 185),
            edge("valve1", "off", 198, 198),
            edge("beam1", "dark", None, 283),
            edge("beam1", "clear", None, 285.9),
            edge("beam1", "dark", None, 368),
            edge("beam1", "clear", None, 370.85),
            edge("flash1", "on", 558, 558),
            edge("flash1", "off", 560, 560),
        ],
        **changes,
    }


def quantities(text: str) -> list[str]:
    """Every time in a text, with its sign and unit."""
    return re.findall(r"[-+]?\d+\.\d+ (?:ms|µs)", text)


def words(record: dict[str, Any]) -> str:
    """All that is written in the chart."""
    chart = describe_timeline(record)
    panel = chart.panels[0][0]
    texts = [getattr(shape, "text", "") for shape in panel.shapes]
    names = [getattr(shape, "name", "") for shape in panel.shapes]
    rows = [f"{row.name} {row.remark}" for row in panel.rows]
    return "\n".join(
        [chart.title, chart.subtitle, *chart.alerts, panel.x.label, *rows, *texts, *names]
    )


def drawn_words(figure: Figure) -> str:
    """All that matplotlib writes."""
    figure.draw_without_rendering()
    texts = [text.get_text() for text in figure.texts]
    texts += [text.get_text() for legend in figure.legends for text in legend.get_texts()]
    for axes in figure.axes:
        texts += [axes.get_title(loc="left"), axes.get_xlabel()]
        for inner in (axes, *axes.child_axes):
            texts += [label.get_text() for label in inner.get_yticklabels()]
        texts += [text.get_text() for text in axes.texts]
    return "\n".join(texts)


def bars(record: dict[str, Any]) -> dict[bool, list[tuple[float, float]]]:
    """Left ends and rows of the planned (hollow) and measured (filled) bars."""
    found: dict[bool, list[tuple[float, float]]] = {True: [], False: []}
    for shape in describe_timeline(record).panels[0][0].shapes:
        if isinstance(shape, Bar) and shape.start is not None:
            found[shape.planned].append((round(shape.start, 6), shape.y))
    return found


def drawn_bars(axes: Axes) -> dict[bool, list[tuple[float, float]]]:
    """The same in the figure."""
    found: dict[bool, list[tuple[float, float]]] = {True: [], False: []}
    for collection in axes.collections:
        assert isinstance(collection, PolyCollection)
        hollow = len(collection.get_facecolor()) == 0 or collection.get_facecolor()[0][3] == 0
        for path in collection.get_paths():
            box = path.get_extents()
            found[bool(hollow)].append((round(box.x0, 6), round((box.y0 + box.y1) / 2, 6)))
    return found


def test_bars_are_at_their_times_and_in_their_rows_in_the_data_and_in_the_file() -> None:
    found = bars(make_record())
    assert found[False] == [(100, 0), (185, 0), (283, 1), (368, 1), (558, 2)]
    assert found[True] == [(100, 0), (185, 0), (558, 2)]
    for axes in make_figure(describe_timeline(make_record())).axes:
        assert drawn_bars(axes) == found


def test_a_file_shows_the_whole_shot_and_the_flash_closely() -> None:
    whole, near = make_figure(describe_timeline(make_record())).axes
    assert whole.get_xlim()[0] < 0 and whole.get_xlim()[1] > 560
    assert near.get_xlim() == pytest.approx((538, 578))
    # Nothing of a shot without a flash can be looked at closely.
    (only,) = make_figure(describe_timeline(make_record(edges=make_record()["edges"][:6]))).axes
    assert only.get_xlim()[0] < 0


def test_a_file_leaves_no_word_out() -> None:
    truth = {"drops": [{"impact_ticks": ticks(452)}, {"impact_ticks": ticks(557)}],
             "contact": {"ticks": ticks(556.9)}}  # fmt: skip
    record = make_record(truth=truth, remarks=["no light was seen"])
    drawn = drawn_words(make_figure(describe_timeline(record)))
    for line in words(record).splitlines():
        for word in line.split():
            assert word in drawn, line


def test_words_in_a_file_cover_no_bar_and_no_other_words() -> None:
    record = make_record()
    record["edges"] += [edge("valve2", "on", 120, 120), edge("valve2", "off", 130, 130)]
    figure = make_figure(describe_timeline(record))
    axes = figure.axes[0]
    boxes = [text.get_window_extent() for text in axes.texts if text.get_text()]
    assert len(boxes) >= 7
    for number, one in enumerate(boxes):
        assert not any(one.overlaps(other) for other in boxes[number + 1 :])


def test_other_shots_of_the_series_are_behind_the_own_edges() -> None:
    scatter = Scatter(series=3, shots=2, lines={"beam1": [283.1, 282.9, 368.2]})
    shapes = describe_timeline(make_record(), scatter).panels[0][0].shapes
    (stems,) = (shape for shape in shapes if isinstance(shape, Stems))
    assert stems.xs == (283.1, 282.9, 368.2) and 0.5 < stems.base < 1.5
    assert re.findall(r"\d+", stems.name) == ["2", "3"], "how many shots, of which series"
    first_bar = next(n for n, shape in enumerate(shapes) if isinstance(shape, Bar) and shape.y == 1)
    assert shapes.index(stems) < first_bar


def test_a_chart_goes_to_the_page_as_plain_data() -> None:
    chart = describe_timeline(make_record())
    content = json.loads(json.dumps(to_json(chart)))
    (panel,) = content["panels"][0]
    assert [row["name"] for row in panel["rows"]] == ["valve 1", "beam 1", "flash 1"]
    measured = [one for one in panel["shapes"] if one["shape"] == "Bar" and not one["planned"]]
    assert measured[-1] == {
        "shape": "Bar", "role": "flash", "y": 2, "start": 558.0, "end": 560.0, "planned": False,
        "title": "flash 1: 558.0000 ms to 560.0000 ms, measured", "name": "measured", "handle": None,
    }  # fmt: skip


def test_a_rig_name_with_dollars_is_no_formula(tmp_path: Path) -> None:
    chart = replace(describe_timeline(make_record()), title="a $5 \\frac rig for $6")
    draw_chart(chart, tmp_path / "a.png")


def test_someone_who_was_not_there_can_read_it() -> None:
    chart = describe_timeline(make_record())
    said = words(make_record())
    assert re.search(r"\b12\b.*fired", chart.title)
    assert quantities(chart.subtitle) == ["190.000 ms", "85.000 ms"], "what was asked"
    assert all(word in said for word in ("simulated", "seed 7", "2nd", "release"))
    (panel,) = chart.panels[0]
    assert [row.name for row in panel.rows] == ["valve 1", "beam 1", "flash 1"]
    labels = [found for shape in panel.shapes for found in quantities(getattr(shape, "text", ""))]
    assert sorted(labels) == ["190.000 ms", "2.85 ms", "2.90 ms", "85.000 ms"]
    assert {bar.planned for bar in panel.shapes if isinstance(bar, Bar)} == {True, False}


def test_a_late_flash_is_said_to_be_late() -> None:
    record = make_record()
    record["edges"][8]["ticks"] += 300  # 2.4 µs at 125 MHz
    found = quantities(words(record))
    assert found.count("+2.4 µs") == 2, "at its label and beside its row"
    assert "190.002 ms" in found


def test_a_missed_shot_says_why_its_flash_is_missing() -> None:
    record = make_record(state="missed", cause="few-edges", seed=None, timing="hardware")
    record["edges"] = [*record["edges"][:6], edge("flash1", "on", None, None)]
    (panel,), (whole,) = (describe_timeline(one).panels[0] for one in (record, make_record()))
    said = words(record)
    assert all(word in said for word in ("12", "missed", "few-edges"))
    flash, fired = panel.rows[-1], whole.rows[-1]
    assert flash.name == fired.name and flash.remark != fired.remark
    assert "seed" not in said and quantities(said).count("190.000 ms") == 1, "only what was asked"


def test_drops_close_to_each_other_share_a_label() -> None:
    record = make_record()
    record["edges"] += [edge("beam1", "dark", None, 374), edge("beam1", "clear", None, 374.8)]
    assert re.search(r"2\b.*3: .*2\.85\b.*0\.80 ms", words(record))


def test_a_flash_after_the_release_is_measured_from_there() -> None:
    record = make_record(anchor={"beam": None, "edge": None, "count": 0})
    record["planned"]["flash_delay_ticks"] = ticks(558)
    chart = describe_timeline(record)
    assert quantities(chart.subtitle)[0] == "558.000 ms" and "release" in chart.subtitle
    assert quantities(words(record)).count("558.000 ms") == 2, "asked, and at the flash"


def test_the_truth_of_a_simulation_has_a_lane_of_its_own() -> None:
    truth = {
        "drops": [{"impact_ticks": ticks(452)}, {"impact_ticks": ticks(557)}],
        "contact": {"ticks": ticks(552)},
    }
    said = words(make_record(truth=truth))
    for text in ("drop 1 strikes", "drop 2 strikes", "contact with the jet", "simulated truth"):
        assert text in said
    assert "strikes" not in words(make_record(truth={"drops": [], "contact": None}))


@pytest.mark.parametrize(
    "record",
    [
        make_record(edges=[], state="fault", cause="port-failure"),
        make_record(shot=None, edges=[edge("valve1", "on", 5, 5)]),  # never seen to close
        *in_full(
            make_record(edges=[edge("beam1", "clear", None, 5)]),  # dark from the start
            make_record(
                edges=[edge("beam1", w, None, t) for t in range(60) for w in ("dark", "clear")]
            ),
            make_record(planned={"flash_delay_ticks": None, "spacing_ticks": None}),
        ),
    ],
)
def test_odd_shots_can_be_drawn(record: dict[str, Any], tmp_path: Path) -> None:
    path = tmp_path / "odd.png"
    draw_chart(describe_timeline(record), path)
    assert path.read_bytes().startswith(b"\x89PNG")


def test_a_place_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    with pytest.raises(FileWriteError, match="none"):
        draw_chart(describe_timeline(make_record()), tmp_path / "none" / "a.png")
    with pytest.raises(UserError, match=r"\.png.*\.svg.*\.pdf"):
        draw_chart(describe_timeline(make_record()), tmp_path / "a.docx")


def test_matplotlib_is_imported_only_to_draw() -> None:
    code = (
        "import sys, beamfall.plot.timeline, beamfall.plot.plan, beamfall.plot.control, beamfall.plot.draw; "
        "assert 'matplotlib' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def measured(current_ma: list[int], supply_mv: list[int]) -> list[dict[str, Any]]:
    """Readings around the first opening, which is at 100 ms, from 97 ms on and 1 ms apart."""
    when = {"start_ticks": ticks(97), "spacing_ticks": ticks(1)}
    return [{**when, "current_ma": current_ma, "supply_mv": supply_mv}]


def test_coil_current_and_supply_are_two_rows_more_on_the_same_axis() -> None:
    sound = measured([0, 0, 0, 200, 240, 210, 250, 300], [24000] * 3 + [23900] * 5)
    plain = describe_timeline(make_record()).panels[0][0]
    more = describe_timeline(make_record(readings=sound)).panels[0][0]
    rows = more.rows[len(plain.rows) :]
    assert [row.alert for row in rows] == [False, False]
    assert "250 mA" in rows[0].remark
    curves = [shape for shape in more.shapes if isinstance(shape, Line)]
    assert [round(sum(one.ys) / len(one.ys)) for one in curves] == [len(plain.rows), len(plain.rows) + 1]  # fmt: skip
    assert curves[0].xs == tuple(range(97, 105))
    (moved,) = [s for s in more.shapes if isinstance(s, Dots) and s.role == "valve"]
    assert moved.xs == (102.0,), "the notch"
    assert more.views[-1].x == (97.0, 104.0)


def test_a_dead_coil_and_a_sagging_supply_stand_out() -> None:
    def alerts(*readings: list[int]) -> list[bool]:
        panel = describe_timeline(make_record(readings=measured(*readings))).panels[0][0]
        return [row.alert for row in panel.rows[-2:]]

    assert alerts([0, 1, 0, 0, 2, 0], [24000] * 6) == [True, False]
    assert alerts([0, 1, 0, 0, 2, 0], [20] * 6) == [True, True]
    assert alerts([0, 0, 0, 200, 240, 250], [24000] * 3 + [19000] * 3) == [False, True]
