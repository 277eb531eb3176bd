"""How photographs that others took are read: `python tests/benchmarks/outside_photographs.py FOLDER`.

`tests/photographs/outside.json` says where ten such photographs are and what was measured in them by hand; FOLDER holds
the files, found by their digests. Each is measured alone and, where the reader is not sure, again with the surface set
by hand. It only prints.
"""

from __future__ import annotations

import hashlib
import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

from beamfall.photos.measure import Measured, Scene, measure

TABLE = Path(__file__).parents[1] / "photographs" / "outside.json"


def describe(seen: Measured, by_hand: dict[str, Any]) -> str:
    judged = "right" if seen.stage == by_hand["stage"] else "WRONG" if seen.stage else "not sure"
    off = ", ".join(
        f"{name} off by {(mark.row if name not in ('left', 'right') else mark.column) - by_hand['marks'][name]:+.0f} px"
        for name, mark in seen.marks.items()
        if name in by_hand["marks"] and not mark.by_hand
    )
    return f"{judged} ({seen.stage}, {seen.confidence:.0%}){f'; {off}' if off else ''}"


def main() -> None:
    table = json.loads(TABLE.read_text())
    files = {
        hashlib.sha256(file.read_bytes()).hexdigest(): file
        for file in Path(sys.argv[1]).iterdir()
        if file.is_file()
    }
    for one in table["pictures"]:
        name = f"{table['sources'][one['source']]}{one['file']}"
        file = files.get(one["sha256"])
        if file is None:
            print(f"{name}: not in {sys.argv[1]}")
            continue
        seen = measure(file, Scene())
        print(f"{name} ({one['stage']}): {describe(seen, one)}")
        if seen.stage is None and "surface" in one["marks"]:
            marks = {"surface": float(one["marks"]["surface"])}
            print(
                f"   surface by hand: {describe(measure(file, replace(Scene(), marks=marks)), one)}"
            )
        for doubt in seen.doubts:
            print(f"   {doubt}")


if __name__ == "__main__":
    main()
