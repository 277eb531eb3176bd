"""The log for other programs, read back by other libraries."""

from __future__ import annotations

import csv
import errno
import io
import json
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from full_disk import full_disk

from beamfall.errors import FileWriteError, MissingExtra, NoSuchShot, UserError, WrongValue
from beamfall.shots import LoggedShot, ShotLog
from beamfall.shots.export import EDGE_COLUMNS, FORMATS, SHOT_COLUMNS, export_log

Fire = Callable[..., int]


@pytest.fixture
def filled(log: ShotLog, fire_series: Fire) -> ShotLog:
    fire_series(log, 3)
    second = fire_series(log, 2, seed=9)
    shot = log.list_shots(series=second)[0].shot
    log.set_note(shot, 'a "quoted" note, with a comma\nand a line')
    log.set_rating(shot, 4)
    return log


def test_csv_holds_every_edge_and_setting(filled: ShotLog, tmp_path: Path) -> None:
    out = tmp_path / "all.csv"
    written = export_log(filled, out, "csv")
    with out.open(newline="", encoding="utf-8") as stream:
        edges = list(csv.DictReader(stream))
    with (tmp_path / "all-shots.csv").open(newline="", encoding="utf-8") as stream:
        shots = list(csv.DictReader(stream))
    assert written.shots == len(shots) == 5 and written.edges == len(edges)
    for shot in shots:
        logged = filled.read_shot(int(shot["shot"]))
        own = [edge for edge in edges if edge["shot"] == shot["shot"]]
        assert len(own) == len(logged.record.edges)
        for edge, truth in zip(own, logged.record.edges, strict=True):
            assert (edge["what"], edge["edge"], edge["source"]) == (
                truth.what,
                truth.edge,
                truth.source,
            )
            assert edge["measured_ticks"] == ("" if truth.ticks is None else str(truth.ticks))
            if truth.ticks is not None:
                assert float(edge["measured_ms"]) == truth.ticks * 1e3 / logged.record.clock_hz
            if truth.planned_ticks is not None:
                assert (
                    float(edge["planned_ms"]) == truth.planned_ticks * 1e3 / logged.record.clock_hz
                )
        assert json.loads(shot["rig_snapshot"]) == logged.rig
        assert json.loads(shot["sequence"])["rows"]
        assert shot["unique_id"] == logged.board["unique_id"]
        assert json.loads(shot["series_settings"])["rest_jitter_share"] == 0.4
    assert shots[3]["note"] == 'a "quoted" note, with a comma\nand a line'
    assert shots[3]["rating"] == "4"


@pytest.mark.parametrize("kind", ["csv", "jsonl", "parquet"])
def test_the_dictionary_names_every_column(filled: ShotLog, tmp_path: Path, kind: str) -> None:
    out = tmp_path / f"x.{kind}"
    export_log(filled, out, kind)
    content = json.loads((tmp_path / f"x.{kind}-metadata.json").read_text())
    # W3C, Metadata Vocabulary for Tabular Data (2015): context, tables with url, tableSchema, columns.
    assert content["@context"] == "http://www.w3.org/ns/csvw"
    for table in content["tables"]:
        columns = [column["name"] for column in table["tableSchema"]["columns"]]
        assert all(column["dc:description"] for column in table["tableSchema"]["columns"])
        file = tmp_path / table["url"]
        if kind == "csv":
            assert file.read_text(encoding="utf-8").splitlines()[0].split(",") == columns
        elif kind == "jsonl":
            assert list(json.loads(file.read_text("utf-8").splitlines()[0])) == columns
        else:
            from pyarrow import parquet

            assert parquet.read_schema(file).names == columns


def test_json_lines_have_one_shot_each(filled: ShotLog, tmp_path: Path) -> None:
    export_log(filled, tmp_path / "x.jsonl", "jsonl", series=[2])
    lines = [json.loads(line) for line in (tmp_path / "x.jsonl").read_text("utf-8").splitlines()]
    assert [line["series"] for line in lines] == [2, 2]
    first = filled.read_shot(lines[0]["shot"])
    assert [edge["measured_ticks"] for edge in lines[0]["edges"]] == [
        e.ticks for e in first.record.edges
    ]
    assert lines[0]["rig_snapshot"] == first.rig


@pytest.mark.parametrize("kind", ["csv", "jsonl"])
def test_shots_fired_meanwhile_are_in_all_of_it_or_in_none(
    kind: str, filled: ShotLog, tmp_path: Path, fire_series: Fire, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another program fires between the edges and the shots."""
    from beamfall.shots import export

    plain, fired = export._list_edges, []

    def fire_in_between(logged: LoggedShot) -> list[list[object]]:
        if not fired:
            with ShotLog.open(filled.path) as other:
                fired.append(fire_series(other, 1))
        return plain(logged)

    monkeypatch.setattr(export, "_list_edges", fire_in_between)
    before = filled.count_shots()
    written = export_log(filled, tmp_path / f"x.{kind}", kind)
    assert fired and filled.count_shots() == before + 1
    assert written.shots == before
    if kind == "csv":
        with (tmp_path / "x.csv").open() as edges, (tmp_path / "x-shots.csv").open() as shots:
            of_edges = {row["shot"] for row in csv.DictReader(edges)}
            assert of_edges == {row["shot"] for row in csv.DictReader(shots)}
    else:
        lines = [json.loads(line) for line in (tmp_path / "x.jsonl").read_text().splitlines()]
        assert len(lines) == before and all(line["edges"] for line in lines)


def test_parquet_as_pyarrow_reads_it(filled: ShotLog, tmp_path: Path) -> None:
    from pyarrow import parquet

    written = export_log(filled, tmp_path / "x.parquet", "parquet")
    edges = parquet.read_table(tmp_path / "x.parquet")
    shots = parquet.read_table(tmp_path / "x-shots.parquet").to_pylist()
    assert edges.num_rows == written.edges
    assert str(edges.schema.field("measured_ticks").type) == "int64"
    begun = filled.read_shot(shots[0]["shot"]).line.begun_us
    assert round(shots[0]["begun"].timestamp() * 1e6) == begun
    described = edges.schema.field("what").metadata[b"description"].decode()
    assert described == next(c.meaning for c in EDGE_COLUMNS if c.name == "what")
    assert list(shots[0]) == [column.name for column in SHOT_COLUMNS]


def test_parquet_without_its_library(
    filled: ShotLog, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(MissingExtra, match="parquet"):
        export_log(filled, tmp_path / "x.parquet", "parquet")
    assert list(tmp_path.glob("x*")) == []


def test_what_cannot_be_written_leaves_nothing(filled: ShotLog, tmp_path: Path) -> None:
    before = set(tmp_path.iterdir())
    with pytest.raises(FileWriteError):
        export_log(filled, tmp_path / "nowhere" / "x.csv", "csv")
    (tmp_path / "y-shots.csv").mkdir()  # the second file cannot take its place
    with pytest.raises(FileWriteError) as caught:
        export_log(filled, tmp_path / "y.csv", "csv")
    assert caught.value.file == tmp_path / "y-shots.csv"
    assert set(tmp_path.iterdir()) == {*before, tmp_path / "y-shots.csv"}
    with pytest.raises(WrongValue) as wrong:
        export_log(filled, tmp_path / "x.xls", "xls")
    assert (wrong.value.of, wrong.value.choices) == ("format", FORMATS)


@pytest.mark.parametrize("kind", ["csv", "jsonl", "parquet"])
def test_a_full_disk_is_named_and_the_old_export_stays(
    filled: ShotLog, tmp_path: Path, kind: str
) -> None:
    out = tmp_path / f"x.{kind}"
    out.write_text("old")
    before = set(tmp_path.iterdir())
    with full_disk(1000), pytest.raises(FileWriteError) as caught:
        export_log(filled, out, kind)
    assert caught.value.number == errno.EFBIG
    assert out.read_text() == "old" and set(tmp_path.iterdir()) == before


@pytest.mark.parametrize("ending", ["", "-wal", "-shm"])
def test_the_open_log_is_never_replaced(filled: ShotLog, tmp_path: Path, ending: str) -> None:
    link = tmp_path / "link.csv"
    link.symlink_to(f"{filled.path}{ending}")
    link.exists() or link.touch()
    shots = [line.shot for line in filled.list_shots()]
    with pytest.raises(FileWriteError):
        export_log(filled, link, "csv")
    assert link.is_symlink() and [line.shot for line in filled.list_shots()] == shots
    with ShotLog.open(filled.path, read_only=True) as again:
        assert len(again.list_shots()) == len(shots)


@pytest.mark.parametrize("name", ["rig.toml", "notes"])
def test_an_export_replaces_no_file_of_another_kind(
    filled: ShotLog, tmp_path: Path, name: str
) -> None:
    (tmp_path / name).write_text("mine")
    with pytest.raises(UserError, match=name):
        export_log(filled, tmp_path / name, "csv")
    assert (tmp_path / name).read_text() == "mine"


def test_a_companion_replaces_only_that_of_an_earlier_export(
    filled: ShotLog, tmp_path: Path
) -> None:
    (tmp_path / "edges-shots.csv").write_text("x,y")
    with pytest.raises(UserError, match="edges-shots.csv"):
        export_log(filled, tmp_path / "edges.csv", "csv")
    assert (tmp_path / "edges-shots.csv").read_text() == "x,y" and not (
        tmp_path / "edges.csv"
    ).exists()
    (tmp_path / "edges.csv").write_text("from an earlier export")
    assert export_log(filled, tmp_path / "edges.csv", "csv").shots == 5


@pytest.mark.parametrize("kind", ["csv", "jsonl", "parquet"])
def test_hostile_text_is_data(filled: ShotLog, tmp_path: Path, kind: str) -> None:
    """A spreadsheet runs a cell that begins with =, +, - or @; a terminal obeys ESC."""
    shot = filled.list_shots()[-1].shot
    hostile = '=HYPERLINK("http://x")\x1b[2J\u202e'
    filled.set_note(shot, hostile)
    filled.set_picture(shot, "@SUM(1)")
    out = tmp_path / f"x.{kind}"
    if kind == "parquet":
        from pyarrow import parquet

        export_log(filled, out, kind)
        assert parquet.read_table(tmp_path / "x-shots.parquet").to_pylist()[-1]["note"] == hostile
        return
    export_log(filled, out, kind)
    text = (tmp_path / ("x-shots.csv" if kind == "csv" else "x.jsonl")).read_text("utf-8")
    assert "\x1b" not in text and "\u202e" not in text
    if kind == "jsonl":
        assert json.loads(text.splitlines()[-1])["note"] == hostile
    else:
        row = list(csv.DictReader(io.StringIO(text, newline="")))[-1]
        assert row["note"].startswith("'=HYPERLINK") and row["picture"] == "'@SUM(1)"
        assert not any(cell.startswith(tuple("=+-@\t\r")) for cell in row.values())


def test_an_empty_log(log: ShotLog, tmp_path: Path) -> None:
    with pytest.raises(NoSuchShot):
        export_log(log, tmp_path / "x.csv", "csv")
