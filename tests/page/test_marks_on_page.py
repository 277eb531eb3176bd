"""A photograph on the page: it is measured, and a mark that is dragged is measured from, and kept in the log."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from page_helpers import OpenReady
from PIL import Image, ImageDraw
from playwright.sync_api import expect

from beamfall.board import Board
from beamfall.setup.rig import example_rig
from beamfall.setup.sequence import Row, Sequence
from beamfall.shots import ShotLog
from beamfall.workflows.series import Shooter

SEQUENCE = Sequence(
    rows=(Row("release", 0, "valve1", 0.01, 0.01), Row("release", 0, "flash1", 0.2, 0.002)),
    name="one drop, for tests",
)
# Drawn for this test: a drop in the air, and nothing that shows where the surface is.
WIDTH, HEIGHT, SURFACE = 700, 900, 640


def draw_drop(file: Path) -> None:
    image = Image.new("RGB", (WIDTH, HEIGHT), (205, 214, 222))
    pen = ImageDraw.Draw(image)
    pen.ellipse((320, 270, 380, 330), fill=(40, 40, 40))
    image.save(file)


@pytest.fixture
def shown(open_ready: OpenReady, log_path: Path, tmp_path: Path) -> Any:
    picture, rig = tmp_path / "DSC_0001.png", example_rig()
    draw_drop(picture)
    with ShotLog.open(log_path) as log, Board.connect("sim", rig=rig, seed=1) as board:
        Shooter.begin(board, log, "shoot", rig=rig).fire(SEQUENCE)
        log.set_picture(1, str(picture))
    served, page = open_ready()
    page.goto(f"{served.origin}/#log/1")
    return page


def read_mark(log_path: Path, name: str) -> dict[str, Any]:
    with ShotLog.open(log_path, read_only=True) as log:
        return log.read_shot(1).record.picture_measured["marks"][name]


@pytest.mark.full
def test_a_mark_is_dragged_and_kept(shown: Any, log_path: Path) -> None:
    page = shown
    page.get_by_role("button", name="Measure the picture").click()
    page.locator("summary", has_text="Add a mark").click()
    page.get_by_role("button", name="Set the surface").click()
    surface = page.locator('.mark[data-mark="surface"]')
    page.locator(".marked img").evaluate("image => image.scrollIntoView({ block: 'center' })")
    image = page.locator(".marked img").bounding_box()
    scale = image["height"] / HEIGHT
    line = surface.locator(".line").bounding_box()
    x, y = image["x"] + 0.2 * image["width"], line["y"] + 0.5 * line["height"]
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x, image["y"] + (SURFACE - 50) * scale, steps=4)
    page.mouse.up()
    page.get_by_role("button", name="Measure with these marks").click()
    moved = page.locator('.mark[data-mark="surface"]:not(.moved)')
    expect(moved).to_be_attached()
    mark = read_mark(log_path, "surface")
    assert mark["by_hand"] and mark["row"] == pytest.approx(SURFACE - 50, abs=3.0)
    moved.focus()
    page.keyboard.press("ArrowDown")
    assert float(surface.get_attribute("aria-valuenow") or 0) > mark["row"]
