"""Sequences as the user's TOML files, times with units.

name = "two drops"
window = "1 s"              # the awaited beam edges must come by then
blanking = "20 ms"

[beam1]
edge = "dark"               # the drop's entering counts

[[row]]
output = "valve1"           # anchored at the release where no anchor is given
delay = "0 ms"
width = "13 ms"

[[row]]
anchor = "beam1"
count = 2                   # its second counted edge
output = "flash1"
delay = "190 ms"
width = "2 ms"
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any

from beamfall.errors import KeyProblem, SequenceError
from beamfall.setup.file_schema import (
    build_section,
    choice,
    count,
    duration,
    file_key,
    list_problems,
    list_unknown,
    name_other_kind,
    text,
)
from beamfall.setup.sequence import BEAM_EDGES, Row, Sequence
from beamfall.setup.signals import OUTPUTS
from beamfall.setup.table import ANCHORS, BEAMS
from beamfall.setup.toml_file import read_toml
from beamfall.setup.toml_write import section_to_file

_LONGEST_S = 3600.0  # of any time in a file; the board's own limits are far below


@dataclass(frozen=True, slots=True)
class _Settings:
    """What stands before the first table; fields of `Sequence` too."""

    name: str = text(default="")
    window_s: float = duration(0.0, _LONGEST_S, default=0.0)
    tail_s: float = duration(0.0, _LONGEST_S, default=0.05)
    blanking_s: float = duration(0.0, _LONGEST_S, default=0.0)
    dwell_s: float = duration(0.0, _LONGEST_S, default=0.0)


@dataclass(frozen=True, slots=True)
class _BeamSettings:
    edge: str = choice(BEAM_EDGES, default="dark")
    awaits: int | None = count(0, 255, default=None)


@dataclass(frozen=True, slots=True)
class _FileRow:
    anchor: str = choice(ANCHORS, default="release")
    count: int | None = count(1, 255, default=None)
    output: str = choice(
        tuple(signal.name for signal in OUTPUTS),
        formerly={signal.formerly: signal.name for signal in OUTPUTS if signal.formerly},
    )
    delay_s: float = duration(0.0, _LONGEST_S)
    width_s: float = duration(0.0, _LONGEST_S)


def load_sequence(path: str | Path) -> Sequence:
    """Read a sequence file.

    Raises SequenceError naming the file and everything in it that is wrong. It does not check a board's
    limits: `Sequence.make_table` does that.
    """
    file = Path(path)
    content = read_toml(file, "sequence file", SequenceError)
    return parse_sequence(content, str(file), default_name=file.stem)


def parse_sequence(content: Mapping[str, Any], source: str, *, default_name: str = "") -> Sequence:
    """Check the parsed content of a sequence file; `source` names it. Raises SequenceError."""
    if "valve" in content and "row" not in content:
        cure = "Check it with `beamfall rig check`, and plan a shot from it with `beamfall plan`"
        other = name_other_kind(source, "rig file", "sequence file", cure)
        raise SequenceError(other[0].text, problems=other)
    problems: list[KeyProblem] = []
    plain = {key: value for key, value in content.items() if key not in ("row", *BEAMS)}
    known = [*_KEYS, *BEAMS, "row"]
    problems += list_unknown(plain, known, "")
    settings = build_section(
        _Settings, {key: value for key, value in plain.items() if key in _KEYS}, "", problems
    )
    beams = [build_section(_BeamSettings, content.get(beam, {}), beam, problems) for beam in BEAMS]
    rows = _build_rows(content.get("row", []), problems)
    if problems:
        message = list_problems(problems, source, "sequence file")
        raise SequenceError(message, problems=tuple(problems))
    return Sequence(
        rows=tuple(rows),
        **asdict(replace(settings, name=settings.name or default_name)),
        beam1_edge=beams[0].edge,
        beam2_edge=beams[1].edge,
        await1=beams[0].awaits,
        await2=beams[1].awaits,
    )


_KEYS = tuple(file_key(item) for item in fields(_Settings))


def sequence_to_file(sequence: Sequence) -> dict[str, Any]:
    """Return the content of a sequence file with this sequence."""
    own = {item.name: getattr(sequence, item.name) for item in fields(_Settings)}
    content = section_to_file(_Settings(**own))
    for number, beam in enumerate(BEAMS, 1):
        edge, awaits = getattr(sequence, f"{beam}_edge"), getattr(sequence, f"await{number}")
        content[beam] = section_to_file(_BeamSettings(edge=edge, awaits=awaits))
    rows = [_FileRow(**{**asdict(row), "count": row.count or None}) for row in sequence.rows]
    return content | {"row": [section_to_file(row) for row in rows]}


def _build_rows(entries: object, problems: list[KeyProblem]) -> list[Row]:
    if not isinstance(entries, list):
        expected = "a list of tables, each starting with [[row]]"
        problems.append(KeyProblem("row", entries, expected, f"row: expected {expected}"))
        return []
    if not entries:
        expected = "at least one [[row]]"
        problems.append(
            KeyProblem("row", None, expected, f"row: missing; a sequence has {expected}")
        )
    rows = []
    for index, entry in enumerate(entries):
        where, path = f"row {index + 1}", f"row[{index + 1}]"
        row = build_section(_FileRow, entry, where, problems, path=path)
        if row is None:
            continue
        if row.anchor == "release" and row.count is not None:
            text = (
                f"{where}.count = {row.count}: the release has no count; leave it out, "
                'or give anchor = "beam1"'
            )
            problems.append(KeyProblem(f"{path}.count", row.count, "no count", text))
        number = 0 if row.anchor == "release" else row.count or 1
        rows.append(Row(row.anchor, number, row.output, row.delay_s, row.width_s))
    return rows
