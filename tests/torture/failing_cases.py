"""What writes, for `failing.py`: commands and requests, with their files and what an intact one looks like."""

from __future__ import annotations

import contextlib
import io
import json
import tomllib
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

from failing_page import Request
from filled_folder import RECIPE

from beamfall.board_tools import backup
from beamfall.board_tools.backup import Backup
from beamfall.board_tools.prompt import Interpreter
from beamfall.page.serve import PageServer
from beamfall.recipes.shelf import Shelf
from beamfall.shots import ShotLog


def leave() -> None:
    """The unchanged program."""


@dataclass(frozen=True)
class Case:
    """A command that writes. `files` are what it replaces, in its folder; `whole` says whether a content is.

    `prepare` changes the program before it runs. `is_broken`: the command has a fault of its own, and writes a report
    of that. `is_first`: none of its files is there before. `requests` are sent to a page instead of running a command.
    `program`: the calls of this program that the command starts fail, not the command's own.
    """

    arguments: tuple[str, ...] = ()
    files: tuple[str, ...] = ()
    whole: Callable[[bytes], bool] = bool
    prepare: Callable[[], None] = leave
    is_broken: bool = False
    is_first: bool = False
    requests: tuple[Request, ...] = ()
    program: str = ""


def _is_json(data: bytes) -> bool:
    with contextlib.suppress(ValueError):
        return json.loads(data) is not None
    return False


def _is_toml(data: bytes) -> bool:
    with contextlib.suppress(ValueError):
        return bool(tomllib.loads(data.decode()))
    return False


def _is_page(data: bytes) -> bool:
    return data.rstrip().endswith(b"</html>")


def _is_png(data: bytes) -> bool:
    return data.endswith(b"IEND\xaeB`\x82")


def _is_recipe(data: bytes) -> bool:
    from beamfall.errors import RecipeError
    from beamfall.recipes.package import unpack_recipe

    with contextlib.suppress(RecipeError):
        return bool(unpack_recipe(data, "recipe").name)
    return False


def _is_xmp(data: bytes) -> bool:
    with contextlib.suppress(ElementTree.ParseError):
        return bool(len(ElementTree.fromstring(data)))
    return False


def _is_report(data: bytes) -> bool:
    return b"ZeroDivisionError" in data and data.endswith(b"\n")


def _is_lines(data: bytes) -> bool:
    return data.endswith(b"\n")


def _is_backup(data: bytes) -> bool:
    with contextlib.suppress(zipfile.BadZipFile), zipfile.ZipFile(io.BytesIO(data)) as archive:
        return archive.testzip() is None
    return False


def _is_certificate(data: bytes) -> bool:
    return data.rstrip().endswith(b"-----END CERTIFICATE-----")


def _is_picture(data: bytes) -> bool:
    return data.startswith(b"\xff\xd8") and data.endswith(b"\xff\xd9")


def _break() -> None:
    ShotLog.list_shots = lambda *arguments, **more: 1 // 0  # type: ignore[method-assign]


def _attach_board() -> None:
    """A board at its prompt, with a slot: what is read from it is on no disk."""
    found = Backup("a board of these tests", {"slots/slot1.bin": bytes(60)})
    there = Interpreter("micropython", (1, 28, 0), "", "rp2", "", 0, "", -1)
    backup.at_prompt = lambda *about: contextlib.nullcontext((None, there))  # type: ignore[assignment, return-value]
    backup.read_own_files = lambda *about: found


def _do_not_serve() -> None:
    PageServer.run = lambda *about, **more: None  # type: ignore[assignment, method-assign]


_RECIPE_FILE = Shelf(Path()).find_file(RECIPE).name
CASES = {
    "shoot": Case(("shoot", "rig.toml", "--port", "sim", "--no-warm-up", "--json")),
    "first-shot": Case(("--trace", "t.pcapng", "shoot", "--port", "sim", "--no-warm-up")),
    "note": Case(("shots", "note", "1", "an umbrella")),
    "rate": Case(("shots", "rate", "1", "4")),
    "mend": Case(("shots", "mend", "--out", "mended.sqlite3")),
    "export": Case(("shots", "export", "--out", "x.csv"), ("x.csv",), _is_lines),
    "export-lines": Case(("shots", "export", "--out", "x.jsonl"), ("x.jsonl",), _is_lines),
    "report": Case(("report", "--out", "report"), ("report/index.html",), _is_page),
    "sheet": Case(("shots", "sheet", "--out", "sheet.html"), ("sheet.html",), _is_page),
    "timeline": Case(("shots", "show", "1", "--plot", "t.png"), ("t.png",), _is_png),
    "learned": Case(("learned", "reset", "rig.toml"), ("rig.learned.json",), _is_json),
    "rig": Case(("rig", "new", "new.toml", "--accept", "--replace"), ("new.toml",), _is_toml),
    "recipe-save": Case(
        ("recipe", "save", RECIPE, "--shot", "2", "--replace"), (f"shots.recipes/{_RECIPE_FILE}",), _is_recipe
    ),
    "recipe-rename": Case(("recipe", "rename", RECIPE, "Umbrella"), (f"shots.recipes/{_RECIPE_FILE}",), _is_recipe),
    "recipe-share": Case(("recipe", "share", RECIPE, "shared.recipe.zip"), ("shared.recipe.zip",), _is_recipe),
    "recipe-use": Case(
        ("recipe", "use", "shared.recipe.zip", "--rig", "rig.toml", "--sequence", "s.toml"), ("s.toml",), _is_toml
    ),
    "recipe-sheet": Case(("recipe", "sheet", RECIPE, "wall.html"), ("wall.html",), _is_page),
    "recipe-shoot": Case(("recipe", "shoot", RECIPE, "--as-then", "--port", "sim")),
    "xmp": Case(("shots", "catalogue", "--series", "2"), ("photos/IMG_2.JPG.xmp",), _is_xmp),
    "image": Case(("board", "image", "micropython.uf2", "--source"), ("beamfall.uf2",)),
    "board-test": Case(("board", "test", "--html", "test.html"), ("test.html",), _is_page),
    "backup": Case(
        ("board", "backup", "kept.zip", "--port", "socket://127.0.0.1:1"), ("kept.zip",), _is_backup, _attach_board
    ),
    "measure": Case(
        ("board", "measure", "--port", "sim", "--yes", "--pulses", "16"), ("timing.json", "timing.png"),
        lambda data: _is_json(data) or _is_png(data),
    ),
    "recipe-store": Case(("recipe", "store", RECIPE, "--slot", "1", "--port", "sim")),
    "recipe-remove": Case(("recipe", "remove", RECIPE)),
    "card": Case(("board", "slots", "card", "card.html", "--port", "sim"), ("card.html",), _is_page),
    "fetch": Case(("shots", "fetch", "--port", "sim")),
    "picture": Case(("shoot", "--port", "sim", "--no-warm-up", "--picture", "p.png"), ("p.png",), _is_png),
    "camera": Case(("shoot", "--port", "sim", "--no-warm-up", "--camera", "sim")),
    "usb-camera": Case(
        ("shoot", "--port", "sim", "--no-warm-up", "--camera", "usb"),
        whole=_is_picture, program="beamfall.photos.camera_process",
    ),
    "overlay": Case(
        ("photos", "measure", "photos/IMG_1.JPG", "--rig", "rig.toml", "--overlay", "marks"),
        ("marks/IMG_1.measured.jpg",), _is_picture,
    ),
    "fault": Case(("shots", "list"), (), _is_report, _break, is_broken=True),
    "page-start": Case(
        ("page", "--port", "sim", "--no-browser", "--tls"), ("page-certificate.pem",), _is_certificate, _do_not_serve,
        is_first=True,
    ),
    "page-note": Case(requests=(("note", {"shot": 1, "text": "an umbrella"}),)),
    "page-rate": Case(requests=(("rate", {"shot": 1, "rating": 4}),)),
    "page-keep": Case(requests=(("keep_recipe", {"shot": 2, "name": "Crown"}),)),
    "page-rename": Case(requests=(("rename_recipe", {"name": RECIPE, "new": "Crown"}),)),
    "page-remove": Case(requests=(("remove_recipe", {"name": RECIPE}),)),
    "page-learned": Case((), ("rig.learned.json",), _is_json, requests=(("reset_learned", {}),)),
    "page-shot": Case(requests=(("arm", {}), ("release", {}))),
}  # fmt: skip
