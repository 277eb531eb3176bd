"""Makes copies and sidecars of matched pictures on request. The pictures themselves stay unchanged."""

from __future__ import annotations

import json
import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from beamfall.errors import UserError
from beamfall.files import explain_write, write_text, write_whole
from beamfall.photos.catalogue import fill
from beamfall.photos.xmp import DC, Packet, embed, read_embedded
from beamfall.shots import ShotLog
from beamfall.text import show_json

if TYPE_CHECKING:
    from beamfall.photos.match import Pair


def copy_pictures(log: ShotLog, pairs: Sequence[Pair], folder: Path, with_xmp: bool = False) -> int:
    """Copy pictures into a folder, named by their shots; return how many. Overwrites nothing.

    `with_xmp`: put what the log knows about the shot into the copies. Raises UserError if a copy exists already or
    cannot be written, PictureError where XMP cannot be put into it.
    """
    count = 0
    for pair in pairs:
        source = pair.picture.path
        target = folder / f"shot-{pair.shot:06d}-{source.name}"
        if target.exists():
            raise UserError(
                f"{target} already exists, and nothing is overwritten: choose an empty folder"
            )
        with explain_write(target):
            folder.mkdir(parents=True, exist_ok=True)
        with write_whole(target) as part:
            shutil.copy2(source, part)
            if with_xmp:
                part.write_bytes(_embed(log, pair))
        count += 1
    return count


def _embed(log: ShotLog, pair: Pair) -> bytes:
    logged, picture = log.read_shot(pair.shot), pair.picture.path
    packet = read_embedded(picture) or Packet.make()
    fill(packet, logged, rating=logged.record.rating, keywords=tuple(packet.items(DC, "subject")))
    return embed(packet, picture.read_bytes(), picture.name)


def write_sidecars(log: ShotLog, pairs: Sequence[Pair]) -> int:
    """Write `PICTURE.shot.json` with the shot's record beside each picture; return how many.

    A file of that name is replaced only if an earlier call wrote it. Raises UserError otherwise.
    """
    for pair in pairs:
        file = pair.picture.path.with_name(f"{pair.picture.path.name}.shot.json")
        if file.exists() and not _is_ours(file):
            raise UserError(f"{file} already exists and is not a Beamfall sidecar: move it away")
        logged = log.read_shot(pair.shot)
        content: dict[str, Any] = {
            "beamfall_sidecar": 1,
            "picture": pair.picture.path.name,
            "taken": pair.picture.taken,
            "probability": round(pair.probability, 6),
            "series": logged.line.series,
            "swept": logged.record.swept,
            "rig": logged.rig,
            "board": logged.board,
            "record": logged.record.to_json(),
        }
        write_text(file, show_json(content, indent=1) + "\n")
    return len(pairs)


def _is_ours(file: Path) -> bool:
    try:
        return "beamfall_sidecar" in json.loads(file.read_text("utf-8"))
    except (OSError, ValueError):
        return False
