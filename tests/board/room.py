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


def main() -> None:
    assert b"\x03" in HELLO
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        stage_firmware(folder / "files", around="room")
        command = [sys.executable, os.environ["BEAMFALL_EMULATOR"], "--image"]
        command += [os.environ["BEAMFALL_IMAGE"], "--files", str(folder / "files")]
        command += ["--script", str(SCENARIO), "--arg", "drops=0", "--arg", f"hello={HELLO.hex()}"]
        command += ["--seconds-emulated", "1.2"]
        subprocess.run([*command, "--json", str(folder / "result.json")], check=True)
        result = json.loads((folder / "result.json").read_text())
    found = re.search(r"free heap (\d+) bytes", result["console"])
    if not found:
        print(f"the console said: {result['console'][-300:]!r}")
    print(f"free heap: {found.group(1) if found else '?'} bytes (must be 100000 or more)")
    first = result["scenario"]["first_byte_ns"]
    print(
        "power-up to the answered handshake: "
        + ("none came" if first is None else f"{first * 1e-9:.2f} s (must be 1.0 or less)")
    )


if __name__ == "__main__":
    main()
