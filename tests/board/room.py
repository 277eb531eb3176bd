"""Figures: free heap with everything started, and the time from power-up to the answered hello, on an emulated board.

    BEAMFALL_EMULATOR=... BEAMFALL_IMAGE=... python tests/board/room.py

A host says hello while the board is still starting, with bytes in it that would be Ctrl-C to an interpreter.
The files are compiled, as `beamfall board install` puts them.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

from emulated_board import SCENARIO, stage_firmware

from beamfall.wire import Message, encode_frame, get_codec

HELLO = b"\x00" + encode_frame(
    get_codec().make_frame(
        Message("hello", {"definition": get_codec().definition.digest}), session=0x0303, number=1
    ),
    get_codec().definition,
)


FREE_BYTES = 110_000
ANSWERED_S = 0.70


def measure_room(emulator: Path, image: Path) -> tuple[int, float]:
    """Return the bytes free with everything started, and the seconds from power-up to the answered hello."""
    assert b"\x03" in HELLO
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        stage_firmware(folder / "files", image, around="room")
        command = [sys.executable, str(emulator), "--image", str(image)]
        command += ["--files", str(folder / "files"), "--script", str(SCENARIO)]
        command += ["--arg", "drops=0", "--arg", f"hello={HELLO.hex()}"]
        command += ["--seconds-emulated", "1.2"]
        subprocess.run([*command, "--json", str(folder / "result.json")], check=True)
        result = json.loads((folder / "result.json").read_text())
    found = re.search(r"free heap (\d+) bytes", result["console"])
    first = result["scenario"]["first_byte_ns"]
    if found is None or first is None:
        raise RuntimeError(f"no figures; the console said: {result['console'][-300:]!r}")
    return int(found[1]), first * 1e-9


def main() -> None:
    free, answered = measure_room(
        Path(os.environ["BEAMFALL_EMULATOR"]), Path(os.environ["BEAMFALL_IMAGE"])
    )
    print(f"free heap: {free} bytes (must be {FREE_BYTES} or more)")
    print(
        f"power-up to the answered handshake: {answered:.2f} s (must be {ANSWERED_S:.2f} or less)"
    )


if __name__ == "__main__":
    main()
