"""What was learned is kept beside the rig, used by the next plan, and not taken for another's."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from beamfall.errors import FileWriteError, UserError
from beamfall.physics import jet
from beamfall.planning.belief import Belief, describe_basis
from beamfall.planning.collision import plan_collision
from beamfall.planning.learned import find_file, load_learned, save_learned
from beamfall.planning.unknowns import NAMES, OF_THE_JET
from beamfall.setup.rig import example_rig

from .conftest import make_rig


def learned(
    board: str = "a1", *, simulated: bool = False, onset: float = 1.0, wide: tuple[str, ...] = ()
) -> Belief:
    """One search of five answers that moved the jet's onset; `wide`: unknowns it said nothing of."""
    mean = np.zeros(len(NAMES))
    mean[NAMES.index("onset_factor")] = onset
    covariance = np.eye(len(NAMES)) * 0.04
    for name in wide:
        covariance[NAMES.index(name), NAMES.index(name)] = 1.0
    return Belief(board, "sim?seed=1", simulated).add_search(
        example_rig(), mean, covariance,
        answers=5, found=True, certainty=0.9, spacing_s=None, fresh=False,
    )  # fmt: skip


def dated(belief: Belief, when: str) -> Belief:
    return replace(belief, steps=tuple(replace(step, when=when) for step in belief.steps))


def test_what_was_learned_narrows_and_moves_the_plan() -> None:
    before = plan_collision(example_rig()).intervals["jet_onset"]
    after = plan_collision(example_rig(), learned=learned()).intervals["jet_onset"]
    # one standard deviation up: σ(ln a) is 0.08
    assert after.p50 / before.p50 == pytest.approx(np.exp(0.08), rel=0.02)
    assert (after.p95 - after.p5) < 0.35 * (before.p95 - before.p5)
    plan = plan_collision(example_rig(), learned=learned())
    assert any("5 shots" in line for line in plan.assumptions)


def test_a_plan_says_that_calibrating_has_shown_nothing_of_the_jet() -> None:
    one = learned()
    calibrated = learned(wide=OF_THE_JET)
    for known, said in ((None, True), (one, False), (calibrated, True)):
        lines = plan_collision(example_rig(), learned=known).assumptions
        assert any("seeking" in line and "calibrating" not in line for line in lines) is said
        assert any("seeking" in line and "calibrating" in line for line in lines) is (
            known is not None
        )


def test_a_file_keeps_each_board_by_itself(tmp_path: Path) -> None:
    file = tmp_path / "rig.learned.json"
    assert load_learned(file) is None
    save_learned(file, dated(learned("a1"), "2026-01-01T10:00:00+00:00"))
    save_learned(file, dated(learned("b2", onset=-1.0), "2026-01-02T10:00:00+00:00"))
    save_learned(file, dated(learned("c3", simulated=True), "2026-02-01T10:00:00+00:00"))
    assert load_learned(file, "zz") is None
    kept = load_learned(file, "a1")
    assert kept == dated(learned("a1"), "2026-01-01T10:00:00+00:00")
    newest = load_learned(file)
    assert newest is not None and newest.board == "b2"  # a real board goes before a simulated one


def test_heights_measured_again_keep_the_jet_another_liquid_does_not() -> None:
    kept = learned()
    same = kept.fit(example_rig())
    moved = kept.fit(make_rig(beam={"height_m": 0.45}))
    assert same is not None and moved is not None
    place = NAMES.index("nozzle_error_m")
    assert same[1][place, place] == pytest.approx(0.04)
    assert moved[1][place, place] == 1.0
    onset = NAMES.index("onset_factor")
    assert moved[0][onset] == 1.0 and moved[1][onset, onset] == pytest.approx(0.04)
    assert kept.fit(make_rig(liquid={"name": "milk"})) is None
    assert kept.fit(make_rig(valve={"opening_s": 0.015})) is None


def test_what_other_laws_have_shown_is_not_used_and_the_plan_says_so() -> None:
    """z counts from a law's middle in its spread: with another law the same z is another jet."""
    (step,) = learned().steps
    assert step.basis is not None
    basis = dict(step.basis["jet"])
    laws = basis["laws"]
    for number in range(len(laws)):
        basis["laws"] = [*laws[:number], 1.02 * laws[number], *laws[number + 1 :]]
        old = replace(learned(), steps=(replace(step, basis={**step.basis, "jet": basis}),))
        assert old.fit(example_rig()) is None
    alone, with_old = (plan_collision(example_rig(), learned=one) for one in (None, old))
    assert with_old.intervals == alone.intervals
    assert len(with_old.assumptions) == len(alone.assumptions) + 1


@pytest.mark.parametrize("name", ["GRAVITY", "TENSION", "VISCOSITY"])
def test_a_change_of_a_law_by_two_percent_is_noticed(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = describe_basis(example_rig())["jet"]
    monkeypatch.setattr(jet, f"_ONSET_BY_{name}", 1.02 * getattr(jet, f"_ONSET_BY_{name}"))
    assert describe_basis(example_rig())["jet"] != before


def test_where_the_file_lies(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert find_file(Path("studio/tall.toml")) == Path("studio/tall.learned.json")
    monkeypatch.setenv("BEAMFALL_LOG", str(tmp_path / "log.sqlite3"))
    assert find_file(None) == tmp_path / "example.learned.json"


def test_a_file_of_the_first_version_is_read_as_one_step(tmp_path: Path) -> None:
    """As commit 82c8bcc wrote it; what it found stays protected, and it can be undone."""
    made = learned()
    state = made.steps[0].state
    assert state is not None
    old = {
        "port": "sim", "simulated": True, "when": "2026-01-01T10:00:00+00:00", "shots": 5,
        "names": state.names, "mean": state.mean, "covariance": state.covariance,
        "basis": made.steps[0].basis, "spacing_s": 0.105,
    }  # fmt: skip
    file = tmp_path / "rig.learned.json"
    file.write_text(json.dumps({"beamfall_learned": 1, "boards": {"a1": old}}))
    read = load_learned(file, "a1")
    assert read is not None and read.shots == 5
    assert read.recall_spacing(example_rig()) == 0.105
    fitted, expected = read.fit(example_rig()), made.fit(example_rig())
    assert fitted is not None and expected is not None
    assert np.allclose(fitted[0], expected[0]) and np.allclose(fitted[1], expected[1])
    assert read.undo().fit(example_rig()) is None
    save_learned(file, read)
    assert load_learned(file, "a1") == read


@pytest.mark.parametrize(
    "content",
    [
        "",
        "{",
        "[]",
        "[" * 5000,
        '{"beamfall_learned": 9}',
        '{"beamfall_learned": 1}',
        '{"beamfall_learned": 2, "boards": {"a": {"port": "p", "simulated": true, "head": 3, "steps": []}}}',
    ],
)
def test_a_damaged_file_is_named(tmp_path: Path, content: str) -> None:
    file = tmp_path / "rig.learned.json"
    file.write_text(content)
    with pytest.raises(UserError, match="rig.learned.json"):
        load_learned(file)


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(FileWriteError, match="rig.learned.json"):
        save_learned(tmp_path / "file" / "rig.learned.json", learned())
