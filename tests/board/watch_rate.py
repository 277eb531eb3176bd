"""Figure: edges a second that a watch carries to a host over USB, on an emulated board.

    BEAMFALL_EMULATOR=... BEAMFALL_IMAGE=... python tests/board/watch_rate.py [--rates 2000,5000,20000]

For each rate of a beam's edges: how many arrived, how many were lost, and how many a second were carried once all
buffers were full. The host is watching_host.py.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from emulated_board import stage_firmware

SCENARIO = Path(__file__).with_name("watching_host.py")


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--rates", default="2000,5000,20000")
    parser.add_argument("--for-ms", type=float, default=300)
    options = parser.parse_args()
    count = len(options.rates.split(","))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        stage_firmware(folder / "files", Path(os.environ["BEAMFALL_IMAGE"]))
        command = [sys.executable, os.environ["BEAMFALL_EMULATOR"], "--image"]
        command += [os.environ["BEAMFALL_IMAGE"], "--files", str(folder / "files")]
        command += ["--script", str(SCENARIO), "--arg", f"rates={options.rates}"]
        command += ["--arg", f"for_ms={options.for_ms}"]
        command += ["--seconds-emulated", str(2 + count * (1.5 + options.for_ms / 1e3))]
        subprocess.run([*command, "--json", str(folder / "result.json")], check=True)
        result = json.loads((folder / "result.json").read_text())
    for watch in result["scenario"]["watches"] or [result["console"][-300:]]:
        print(watch)


if __name__ == "__main__":
    main()
