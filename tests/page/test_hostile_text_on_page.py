"""Text from outside on the page, in a browser: rig, board, notes, recipes, names of pictures. It is only shown."""

from __future__ import annotations

import unicodedata
from dataclasses import replace
from pathlib import Path

import pytest
from page_helpers import QUICK_RIG, OpenReady

from beamfall.board import Board
from beamfall.planning.collision import plan_collision
from beamfall.recipes.recipe import Events, Label, Recipe
from beamfall.recipes.shelf import Shelf
from beamfall.setup.rig import example_rig
from beamfall.shots import ShotLog
from beamfall.workflows.series import Shooter

ACTING = "<img src=x onerror=\"document.title='gone'\">"
HOSTILE = f"=1+1\x1b]0;gone\x07\u202etxt<script>document.title='gone'</script>{ACTING}"
RECIPE = f"{ACTING} umbrella"
VIEWS = (
    "bench",
    "rig",
    "log",
    "log/1",
    "log/2",
    "recipes",
    "repeatability",
    "seek",
    "check",
    "calibrate",
)


def fill(log_path: Path) -> None:
    """A log and a recipe whose every text is hostile."""
    log_path.parent.mkdir(parents=True, exist_ok=True)
    rig = replace(example_rig(), name=HOSTILE, note=HOSTILE)
    sequence = plan_collision(rig).sequence
    with ShotLog.open(log_path) as log, Board.connect("sim", rig=rig) as board:
        board.link.welcome = replace(board.info, name=HOSTILE)
        shooter = Shooter(board, log, log.begin_series("sweep", rig=rig, name=HOSTILE), rig=rig)
        shooter.asked_by = HOSTILE
        for number in range(2):
            swept = {"of": HOSTILE, "step": number, "value_ms": 1.0 + number, "repeat": 1}
            shot = shooter.fire(replace(sequence, name=HOSTILE), swept=swept).shot
            assert shot is not None
            log.set_note(shot, HOSTILE)
            log.set_keywords(shot, (HOSTILE,))
            log.add_photograph(
                shot,
                f"/nowhere/{HOSTILE.replace('/', '')}.jpg",
                match={"source": HOSTILE},
                exposure={"time_s": 0.5, "mode": HOSTILE},
            )
    events = Events(
        kind="collision", drops=2, moment=0.5, moment_low=0.4, moment_high=0.6, stage_s=0.004
    )
    recipe = Recipe(Label(name=RECIPE, note=HOSTILE, board=HOSTILE[:80]), rig, sequence, events)
    Shelf.open(log_path).save(recipe)
    (log_path.with_suffix(".recipes") / f"{HOSTILE.replace('/', '')}.recipe.zip").write_bytes(
        b"damaged"
    )


@pytest.mark.full
def test_no_text_from_outside_acts_in_a_browser(open_ready: OpenReady, log_path: Path) -> None:
    fill(log_path)
    served, page = open_ready(
        rig=QUICK_RIG.replace('"quick invented rig"', _in_toml(HOSTILE)), quiet=False
    )
    seen = ""
    for view in VIEWS:
        page.goto(f"{served.origin}/#{view}")
        page.wait_for_timeout(700)
        text = page.evaluate("document.body.innerText")
        acting = [
            one
            for one in text
            if one not in "\n\t" and unicodedata.category(one) in ("Cc", "Cf", "Cs")
        ]
        assert acting == [], view
        assert page.locator("img[src='x']").count() == 0, view
        assert page.locator("script:not([src])").count() == 0, view
        seen += text
    assert page.title() != "gone"
    assert seen.count("=1+1") > 5, "it was shown"


def _in_toml(text: str) -> str:
    return '"' + "".join(f"\\u{ord(one):04x}" for one in text) + '"'
