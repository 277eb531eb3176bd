"""Figure: beam edges lost by the rp2 port with the CPU kept busy, on an emulated board.

    BEAMFALL_EMULATOR=... BEAMFALL_IMAGE=... python tests/board/bursts.py [--edges 100000]

The real port and its DMA ring, read on the emulated CPU, which makes and collects garbage all the while. The wire is
not part of it: watch_rate.py measures what a watch carries over USB.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from emulated_board import SCENARIO, stage_firmware

HERE = Path(__file__).parent


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--edges", type=int, default=100_000)
    options = parser.parse_args()
    bursts = options.edges // 200
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        stage_firmware(folder / "files", Path(os.environ["BEAMFALL_IMAGE"]))
        text = (HERE / "on_board" / "bursts.py").read_text(encoding="utf-8")
        (folder / "files" / "main.py").write_text(
            text.replace("WANTED = 0", f"WANTED = {200 * bursts}")
        )
        command = [
            sys.executable,
            os.environ["BEAMFALL_EMULATOR"],
            "--image",
            os.environ["BEAMFALL_IMAGE"],
        ]
        command += ["--files", str(folder / "files"), "--script", str(SCENARIO), "--arg", "drops=0"]
        command += ["--arg", f"bursts={bursts}", "--seconds-emulated", str(2.0 + 0.024 * bursts)]
        subprocess.run([*command, "--json", str(folder / "result.json")], check=True)
        console = json.loads((folder / "result.json").read_text())["console"]
    print(
        "\n".join(line for line in console.splitlines() if "bursts" in line or "Error" in line)
        or console[-500:]
    )


if __name__ == "__main__":
    main()
