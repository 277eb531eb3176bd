"""A folder with one of everything that commands read: rig and what it has taught, sequence, log with shots, recipe,
backup, image, pictures."""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
from pathlib import Path

from command_line import run_cli
from interpreter_image import make_interpreter
from PIL import ExifTags, Image

from beamfall.board_tools.backup import Backup, pack_backup
from beamfall.setup.rig import EXAMPLE

LOG, RECIPE = "shots.sqlite3", "umbrella"
SHOTS = 2  # in the log, of one series each


def fill_folder(folder: Path) -> None:
    """Fill an empty folder."""
    shutil.copy(EXAMPLE, folder / "rig.toml")
    (folder / "micropython.uf2").write_bytes(make_interpreter())
    (folder / "photos").mkdir()

    card = folder / "card" / "DCIM" / "100TESTS"  # of libgphoto2's virtual camera
    card.mkdir(parents=True)
    Image.new("RGB", (320, 240)).save(card / "IMG_0001.JPG")

    def run(*arguments: str, log: str = LOG) -> None:
        environment = {**os.environ, "BEAMFALL_LOG": str(folder / log)}
        done = run_cli(*arguments, folder=folder, environment=environment)
        assert done.returncode == 0, done.stdout + done.stderr

    for number in range(1, SHOTS + 1):
        run("shoot", "rig.toml", "--port", "sim", "--no-warm-up", "--json")
        exif = Image.Exif()
        exif.get_ifd(ExifTags.IFD.Exif)[0x9003] = f"2026:05:04 10:11:1{number}"  # DateTimeOriginal
        picture = Image.new("RGB", (320, 240), (40 * number, 90, 120))
        picture.save(folder / f"photos/IMG_{number}.JPG", exif=exif)
        run("shots", "picture", str(number), f"photos/IMG_{number}.JPG")
    run("recipe", "save", RECIPE, "--shot", "1", "--rig", "rig.toml")
    run("recipe", "share", RECIPE, "shared.recipe.zip")
    run("recipe", "use", "shared.recipe.zip", "--rig", "rig.toml", "--sequence", "sequence.toml")
    run("calibrate", "rig.toml", "--port", "sim", "--count", "8", "--json", log="elsewhere.sqlite3")
    backup = Backup("a board of these tests", {"slots/slot1.bin": bytes(60)})
    (folder / "board.zip").write_bytes(pack_backup(backup))
    with contextlib.closing(sqlite3.connect(folder / LOG)) as log:
        log.execute("PRAGMA wal_checkpoint(TRUNCATE)")
