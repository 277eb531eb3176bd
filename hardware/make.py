"""Remakes everything under hardware/ that comes from the netlist, the profiles and the simulations.

python hardware/make.py            writes all files but KiCad's
python hardware/make.py --kicad    first KiCad's own outputs (kicad/made: netlist, drawings, gerbers …), then all others
python hardware/make.py --check    writes nothing; exit 1 and a list when a committed file is not what would be made

Needs the extra `hardware` (matplotlib, numpy) and ngspice; --kicad needs KiCad 9. Texts are compared word by word,
numbers from simulations within 3 %, pictures and KiCad's outputs by the digest of what they are made from
(SOURCES.txt), not by their bytes.
"""

from __future__ import annotations

import argparse
import hashlib
import sys
from dataclasses import dataclass
from pathlib import Path

HARDWARE = Path(__file__).resolve().parent
if str(HARDWARE) not in sys.path:
    sys.path.insert(0, str(HARDWARE))

from circuit import (  # noqa: E402
    bill,
    connections,
    figures,
    kicad_files,
    limits,
    plots,
    profiles,
    results,
    tables,
    wiring,
)
from circuit.errors import HardwareError, NetlistError  # noqa: E402
from circuit.netlist import Circuit, build_circuit  # noqa: E402
from circuit.rules import check_rules  # noqa: E402

SIMULATION_TOLERANCE = 0.03
SOURCES = "pictures/SOURCES.txt"
_CIRCUIT = (
    "../kicad/made/netlist.xml",
    "items.py",
    "catalogue_passive.py",
    "catalogue_active.py",
    "catalogue_outside.py",
)
# What each group of pictures is drawn from.
_PICTURE_SOURCES = {
    "figures": (
        "board_file.py",
        "canvas.py",
        "figures_build.py",
        "figures_case.py",
        "../parts/dimensions.py",
        "figures_kit.py",
        "bill.py",
        "../kicad/beamfall.kicad_pcb",
        "figures_stand.py",
    ),
    "plots": ("plots.py", "study_valve.py", "study_opto.py", "study_beam.py", *_CIRCUIT),
}
_DECKS = ("valve.cir", "optocoupler.cir", "beam.cir")


@dataclass(frozen=True)
class MadeText:
    """A text file to write or compare: path below hardware/, content, tolerance on its numbers."""

    path: str
    content: str
    tolerance: float = 0.0


def make_texts(circuit: Circuit) -> list[MadeText]:
    """The text files that need no simulation; NetlistError when the circuit or its placing breaks a rule."""
    found = check_rules(circuit)
    if found:
        raise NetlistError(
            "the netlist breaks its rules:\n" + "\n".join(f"  {finding}" for finding in found)
        )
    boards = profiles.read_profiles()
    signals = profiles.read_signals()
    texts = [
        MadeText("bill_of_materials.csv", bill.bill_csv(circuit)),
        MadeText("orders/first_picture.csv", bill.order_csv(circuit, kit=True)),
        MadeText("orders/whole.csv", bill.order_csv(circuit, kit=False)),
        MadeText("orders/README.md", bill.orders_page(circuit)),
        MadeText("connections.md", connections.connections_page(circuit)),
        MadeText(SOURCES, picture_sources()),
    ]
    for board in boards:
        texts.append(
            MadeText(f"wiring/{board.board}.csv", wiring.wiring_csv(circuit, board, signals))
        )
        texts.append(
            MadeText(f"wiring/{board.board}.md", wiring.wiring_page(circuit, board, signals))
        )
    return texts


def make_simulated_texts(found: results.Results) -> list[MadeText]:
    """The text files that rest on simulations."""
    boards = profiles.read_profiles()
    rows = results.figures(found)
    return [
        MadeText("results/valve.csv", tables.to_csv(found.valve_rows), SIMULATION_TOLERANCE),
        MadeText("results/optocoupler.csv", tables.to_csv(found.opto_rows), SIMULATION_TOLERANCE),
        MadeText("results/beam.csv", tables.to_csv(found.beam_rows), SIMULATION_TOLERANCE),
        MadeText("results/figures.csv", tables.to_csv(rows), SIMULATION_TOLERANCE),
        MadeText("results/README.md", results.results_page(found), SIMULATION_TOLERANCE),
        MadeText("limits.md", limits.limits_page(found, boards), SIMULATION_TOLERANCE),
    ]


def picture_sources() -> str:
    """One line for each group of pictures: digest of the files that it is drawn from."""
    lines = []
    for group, names in _PICTURE_SOURCES.items():
        digest = hashlib.sha256()
        paths = [HARDWARE / "circuit" / name for name in names]
        if group == "plots":
            paths += [HARDWARE / "spice" / deck for deck in _DECKS]
        for path in paths:
            digest.update(path.read_bytes().replace(b"\r\n", b"\n"))
        lines.append(f"{group} {digest.hexdigest()[:16]} {' '.join(path.name for path in paths)}")
    return "\n".join(lines) + "\n"


def draw_pictures(found: results.Results, folder: Path) -> list[Path]:
    """Writes figures and plots below `folder`."""
    pictures, plotted = folder / "pictures", folder / "results"
    pictures.mkdir(parents=True, exist_ok=True)
    plotted.mkdir(parents=True, exist_ok=True)
    paths = figures.draw_figures(pictures)
    paths += plots.plot_all(plotted, found)
    return paths


def expected_pictures() -> list[str]:
    """Paths below hardware/ of all pictures, without drawing them."""
    return [f"pictures/{name}.{kind}" for name in figures.FIGURES for kind in ("svg", "png")] + [
        f"results/{name}.png" for name in ("valve", "optocoupler", "beam")
    ]


def find_stale(texts: list[MadeText], folder: Path = HARDWARE) -> list[str]:
    """What is missing or different in `folder`."""
    stale = []
    for text in texts:
        path = folder / text.path
        if not path.exists():
            stale.append(f"{text.path}: missing")
            continue
        difference = tables.first_difference(path.read_text(), text.content, text.tolerance)
        if difference:
            stale.append(f"{text.path}: {difference}")
    stale += kicad_files.find_stale()
    stale += [f"{name}: missing" for name in expected_pictures() if not (folder / name).exists()]
    made = {text.path for text in texts}
    for path in sorted((folder / "wiring").glob("*.*")):
        if path.name != "README.md" and f"wiring/{path.name}" not in made:
            stale.append(f"wiring/{path.name}: no profile makes this file")
    return stale


def main(arguments: list[str] | None = None) -> int:
    """Command line; 0 when all is well."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument(
        "--check", action="store_true", help="write nothing, compare with what is committed"
    )
    parser.add_argument(
        "--kicad", action="store_true", help="check the KiCad project and remake its outputs first"
    )
    options = parser.parse_args(arguments)
    check = options.check
    try:
        if options.kicad:
            kicad_files.make_all()
        circuit = build_circuit()
        texts = make_texts(circuit)
        found = results.run_studies()
        texts += make_simulated_texts(found)
        if check:
            stale = find_stale(texts)
            for line in stale:
                print(line)
            print(
                "run `python hardware/make.py` and commit what it writes"
                if stale
                else "hardware/ is up to date"
            )
            return 1 if stale else 0
        for text in texts:
            path = HARDWARE / text.path
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text.content)
        pictures = draw_pictures(found, HARDWARE)
        print(f"wrote {len(texts)} texts and {len(pictures)} pictures")
        return 0
    except HardwareError as error:
        print(error, file=sys.stderr)
        return 1


if __name__ == "__main__":
    sys.exit(main())
