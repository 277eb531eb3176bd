"""Makes everything that comes out of the KiCad project: netlist, drawings, and what a board maker asks for.

KiCad 9 is large, so its outputs are committed. `made/SOURCES.txt` holds a digest of the project they were made from;
without KiCad, the check compares that.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import subprocess
import tempfile
import zipfile
from pathlib import Path

from circuit.errors import HardwareError, KicadError, KicadMissing

FOLDER = Path(__file__).resolve().parent.parent / "kicad"
MADE = FOLDER / "made"
PROJECT = "beamfall"
SHEETS = ("supply", "board", "valves", "receivers", "sensing", "camera", "flashes")
COPPER_AND_MORE = "F.Cu,B.Cu,F.Mask,B.Mask,F.Silkscreen,B.Silkscreen,Edge.Cuts"
OUTPUTS = (
    "netlist.xml",
    "schematic.pdf",
    "board.pdf",
    "board.png",
    "board_3d.png",
    "board_step.zip",
    "gerbers.zip",
    "positions.csv",
    *(f"{sheet}.svg" for sheet in SHEETS),
    "board_bottom.svg",
)


def source_digest(folder: Path = FOLDER) -> str:
    """One digest over the project's own files."""
    digest = hashlib.sha256()
    paths = [
        path
        for kind in ("sch", "pcb", "pro", "dru")
        for path in sorted(folder.glob(f"*.kicad_{kind}"))
    ]
    for path in paths:
        digest.update(path.name.encode() + path.read_bytes().replace(b"\r\n", b"\n"))
    return digest.hexdigest()


def find_stale() -> list[str]:
    """What is missing, or was made from another state of the project."""
    stale = [f"kicad/made/{name}: missing" for name in OUTPUTS if not (MADE / name).exists()]
    noted = MADE / "SOURCES.txt"
    if not noted.exists() or noted.read_text().strip() != source_digest():
        stale.append(
            "kicad/made: made from another state of the KiCad project; run `python hardware/make.py --kicad`"
        )
    return stale


def _run(*words: str | Path, bodies: Path | None = None) -> str:
    """kicad-cli with these words; KicadError with its output when it fails. `bodies`: where parts' bodies are found."""
    program = shutil.which("kicad-cli")
    if program is None:
        raise KicadMissing(
            "KiCad 9 is not installed: on Debian `apt-get install -t bookworm-backports kicad kicad-packages3d`, "
            "else see kicad.org"
        )
    surroundings = os.environ | ({"KICAD9_3DMODEL_DIR": str(bodies)} if bodies else {})
    done = subprocess.run(
        [program, *map(str, words)], capture_output=True, text=True, check=False, env=surroundings
    )
    if done.returncode:
        raise KicadError(f"kicad-cli {' '.join(map(str, words))}:\n{done.stdout}{done.stderr}")
    return done.stdout


def check_project(folder: Path = FOLDER) -> None:
    """Electrical and design rules, and that board and schematic agree; KicadError with the report where not."""
    with tempfile.TemporaryDirectory() as scratch:
        report = Path(scratch) / "report.txt"
        for words in (
            ("sch", "erc", "--severity-error", "-o", report, folder / f"{PROJECT}.kicad_sch"),
            (
                "pcb",
                "drc",
                "--schematic-parity",
                "--severity-error",
                "-o",
                report,
                folder / f"{PROJECT}.kicad_pcb",
            ),
        ):
            try:
                _run(*words[:2], "--exit-code-violations", *words[2:])
            except KicadError as error:
                found = report.read_text() if report.exists() else ""
                raise KicadError(f"{error}\n{found}") from error


def make_all() -> None:
    """Checks the project, then remakes every output. KicadMissing without KiCad, KicadError when a rule is broken."""
    check_project()
    schematic, board = FOLDER / f"{PROJECT}.kicad_sch", FOLDER / f"{PROJECT}.kicad_pcb"
    shutil.rmtree(MADE, ignore_errors=True)
    MADE.mkdir()
    _run("sch", "export", "netlist", "--format", "kicadxml", "-o", MADE / "netlist.xml", schematic)
    _drop_dates(MADE / "netlist.xml")
    _run("sch", "export", "pdf", "-o", MADE / "schematic.pdf", schematic)
    with tempfile.TemporaryDirectory() as scratch:
        _run("sch", "export", "svg", "-o", scratch, schematic)
        for sheet in SHEETS:
            (drawn,) = Path(scratch).glob(f"*-{sheet}.svg")
            shutil.copyfile(drawn, MADE / f"{sheet}.svg")
    _run(
        "pcb", "export", "svg", "--mode-single", "--page-size-mode", "2", "--exclude-drawing-sheet", "--mirror",
        "-l", "B.Cu,B.Mask,Edge.Cuts", "-o", MADE / "board_bottom.svg", board,
    )  # fmt: skip
    _run(
        "pcb",
        "export",
        "pdf",
        "--mode-single",
        "-l",
        "F.Cu,F.Silkscreen,Edge.Cuts",
        "-o",
        MADE / "board.pdf",
        board,
    )
    _draw_bodies(board)
    _run(
        "pcb",
        "export",
        "pos",
        "--format",
        "csv",
        "--units",
        "mm",
        "-o",
        MADE / "positions.csv",
        board,
    )
    with tempfile.TemporaryDirectory() as scratch:
        _run("pcb", "export", "gerbers", "-l", COPPER_AND_MORE, "-o", scratch, board)
        _run("pcb", "export", "drill", "--excellon-separate-th", "-o", f"{scratch}/", board)
        _pack(MADE / "gerbers.zip", sorted(Path(scratch).iterdir()))
    missing = [name for name in OUTPUTS if not (MADE / name).exists()]
    if missing:
        raise HardwareError(f"KiCad made no {', '.join(missing)}")
    (MADE / "SOURCES.txt").write_text(source_digest() + "\n")


def _draw_bodies(board: Path) -> None:
    """The bare board from above, whose print can be read; the fitted one as a picture and as STEP."""
    with tempfile.TemporaryDirectory() as scratch:
        _run(
            "pcb", "render", "--quality", "basic", "-w", "1400", "--height", "820", "--zoom", "1.6",
            "-o", MADE / "board.png", board, bodies=Path(scratch),
        )  # fmt: skip
        _run(
            "pcb", "render", "--quality", "high", "--perspective", "--rotate", "-32,0,12", "-w", "1600",
            "--height", "900", "--zoom", "1.15", "-o", MADE / "board_3d.png", board,
        )  # fmt: skip
        step = Path(scratch) / "board.step"
        told = _run("pcb", "export", "step", "--no-dnp", "--subst-models", "-f", "-o", step, board)
        if "Could not add 3D model" in told:
            raise KicadMissing(
                "KiCad's bodies of parts are not installed: on Debian "
                "`apt-get install -t bookworm-backports kicad-packages3d`"
            )
        step.write_text(re.sub(r"(FILE_NAME\('[^']*',)'[^']*'", r"\1''", step.read_text(), count=1))
        _pack(MADE / "board_step.zip", [step])


def _pack(target: Path, paths: list[Path]) -> None:
    """A zip without dates: the same files give the same bytes."""
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in paths:
            archive.writestr(zipfile.ZipInfo(path.name), path.read_bytes(), zipfile.ZIP_DEFLATED)


def _drop_dates(path: Path) -> None:
    """The same circuit gives the same netlist: no date and no folder of the machine in it."""
    text = re.sub(r"<(date|source|tool)>[^<]*</\1>", r"<\1/>", path.read_text())
    path.write_text(re.sub(r"<libraries>.*?</libraries>", "<libraries/>", text, flags=re.S))
