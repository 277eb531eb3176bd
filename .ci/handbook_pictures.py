"""Draws the pictures of the handbook with Beamfall itself: `python .ci/handbook_pictures.py [NAME ...]`.

Charts come from the commands, pictures from the simulated rig. Each is made small and put into host/beamfall/handbook.
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from PIL import Image

from beamfall.cli import main
from beamfall.handbook import FOLDER
from beamfall.planning.make import make_plan
from beamfall.setup.rig import EXAMPLE, Rig, load_rig
from beamfall.sim.picture import SimulatedPicture, draw_sheet
from beamfall.sim.predicted import fire, make_middle_rig

WIDTH = 900  # of a chart, in pixels
COLOURS = 48
RIG = "my_rig.toml"
SEARCHED = "sim?seed=5"

LIQUIDS = {
    "water": 'name = "water"',
    "3 water, 1 glycerol": "parts = { water = 3, glycerol = 1 }",
    "milk": 'name = "milk"',
    "water with 0.2 g guar in 100 mL": 'name = "water"\ngrams = { guar = 0.2 }',
}


def run(*words: str) -> None:
    """Run a command as a user would."""
    if main(list(words)):
        raise SystemExit(f"beamfall {' '.join(words)} failed")


def make_rig(*, liquid: str = "", aim: str = "") -> Rig:
    """The example rig with another liquid or another aim."""
    text = EXAMPLE.read_text("utf-8")
    if liquid:
        text = text.replace('[liquid]\nname = "water"', f"[liquid]\n{liquid}")
    if aim:
        text = text.replace('kind = "collision"\ndrops = 2', aim)
    Path("changed.toml").write_text(text, "utf-8")
    return load_rig(Path("changed.toml"))


def predict(rig: Rig) -> SimulatedPicture:
    """The picture that a rig most likely takes."""
    middle = make_middle_rig(rig)
    return SimulatedPicture(fire(middle, make_plan(rig).sequence), middle.model)


def keep_chart(drawn: str, name: str) -> None:
    """Keep a chart, in few colours."""
    with Image.open(drawn) as chart:
        small = chart.convert("RGB").resize((WIDTH, WIDTH * chart.height // chart.width))
    # Maximum coverage keeps the colours of thin lines.
    few = small.quantize(COLOURS, Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    few.save(FOLDER / name, optimize=True)


def keep_picture(drawn: str, name: str, pixels: int = 900) -> None:
    """Keep a picture as a JPEG."""
    with Image.open(drawn) as picture:
        small = picture.convert("RGB")
    small.thumbnail((pixels, pixels))
    small.save(FOLDER / name, quality=72, optimize=True)


def plan() -> None:
    run("plan", RIG, "--plot", "plan.png")
    keep_chart("plan.png", "plan.png")


def shot() -> None:
    run("shoot", RIG, "--port", "sim", "--plot", "shot.png")
    keep_chart("shot.png", "shot.png")


def no_flash() -> None:
    run("shoot", RIG, "--port", "sim?fault=flash-off", "--plot", "no-flash.png")
    keep_chart("no-flash.png", "no-flash.png")


def control() -> None:
    run("shoot", RIG, "--port", "sim?seed=11", "--count", "24")
    run("repeatability", "--plot", "control.png")
    keep_chart("control.png", "control.png")


def liquids() -> None:
    pictures = {name: predict(make_rig(liquid=liquid)) for name, liquid in LIQUIDS.items()}
    draw_sheet(
        [(one.scene, name) for name, one in pictures.items()],
        "liquids.png",
        title="One rig, four liquids",
    )
    keep_picture("liquids.png", "liquids.jpg")


def one_drop() -> None:
    kinds = ("crown", "cavity", "jet", "droplet")
    pictures = {kind: predict(make_rig(aim=f'kind = "{kind}"')) for kind in kinds}
    draw_sheet([(one.scene, kind) for kind, one in pictures.items()], "one.png", title="One drop")
    keep_picture("one.png", "one-drop.jpg")


def two_flashes() -> None:
    rig = EXAMPLE.read_text("utf-8") + find_example("flashes", 1)
    flash = '\n[[flash]]\noutput = "flash2"\nduration = "50 us"\n'
    Path("changed.toml").write_text(rig + flash, "utf-8")
    picture = predict(load_rig(Path("changed.toml")))
    words = "flash 1 at the contact, flash 2 15 ms later"
    draw_sheet([(picture.scene, words)], "two.png")
    keep_picture("two.png", "two-flashes.jpg", 640)


def three_drops() -> None:
    make_rig(aim='kind = "collision"\ndrops = 3')
    run("plan", "changed.toml", "--plot", "three.png")
    keep_chart("three.png", "three-drops.png")


def sequence() -> None:
    Path("my_shot.toml").write_text(find_example("table-by-hand"), "utf-8")
    run("sequence", "check", "my_shot.toml", "--plot", "sequence.png", "--rig", RIG)
    keep_chart("sequence.png", "sequence.png")


def find_example(topic: str, number: int = 0) -> str:
    """A file that a page shows."""
    text = (FOLDER / f"{topic}.md").read_text("utf-8")
    return text.split("```text\n")[1 + number].partition("```")[0]


def search() -> None:
    """A search of four shots, and the umbrella that it found."""
    run("seek", RIG, "--port", SEARCHED, "--picture", "search.png")
    keep_picture("search.png", "search.jpg", 1207)
    run("shoot", RIG, "--port", SEARCHED, "--picture", "umbrella.png")
    keep_picture("umbrella.png", "umbrella.jpg", 960)


def measured() -> None:
    run("shoot", RIG, "--port", "sim?seed=7", "--picture", "photo.png")
    run("photos", "measure", "photo.png", "--rig", RIG, "--overlay", "checked")
    (overlay,) = Path("checked").iterdir()
    keep_picture(str(overlay), "measured.jpg", 700)


DRAWN: dict[str, Callable[[], None]] = {
    one.__name__: one
    for one in (
        plan,
        shot,
        no_flash,
        control,
        liquids,
        one_drop,
        two_flashes,
        three_drops,
        sequence,
        measured,
        search,
    )
}

if __name__ == "__main__":
    chosen = sys.argv[1:] or list(DRAWN)
    with tempfile.TemporaryDirectory() as folder:
        os.environ["BEAMFALL_LOG"] = f"{folder}/shots.sqlite3"
        os.chdir(folder)
        Path(RIG).write_text(EXAMPLE.read_text("utf-8"), "utf-8")
        for name in chosen:
            DRAWN[name]()
            print(name)
