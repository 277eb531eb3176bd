"""The table by hand: a sequence edited row by row on the page, with undo, and what the board's limits say about it.

Takes texts with units and keeps a checked `Sequence`. A value that breaks a limit of the board is kept too, and
named, so that the user can continue from there. Nothing here is sent to a board.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from beamfall.errors import SequenceError, UserError
from beamfall.page.hub import Hub
from beamfall.planning.expected import ExpectedEdges, expect_edges
from beamfall.planning.result import Plan
from beamfall.plot.scene import to_json
from beamfall.plot.sequence import describe_sequence, find_start
from beamfall.setup.limits import BoardLimits, find_problems
from beamfall.setup.sequence import BEAM_EDGES, Row, Sequence, warn_of_flicker
from beamfall.setup.sequence_file import parse_sequence, sequence_to_file
from beamfall.setup.signals import OUTPUTS, Signal
from beamfall.setup.table import ANCHORS, BEAMS
from beamfall.setup.toml_file import parse_toml
from beamfall.setup.toml_write import write_quantity, write_toml
from beamfall.setup.units import parse_duration

FileText = str  # of a whole file
STATES_MOST = 200  # that can be undone
_NAME_MOST = 80
_ROWS_MOST = 255  # more than any board holds
_WINDOW_S = 1.0  # for the first row that follows a beam (our choice)
_WIDTHS_S = {"valve": 0.013, "flash": 0.002, "camera": 0.1}  # of a new row (our choice)
_TIMES = ("window", "blanking", "dwell", "tail")


class ByHand:
    """One table for all open pages. Any thread may call; calls are served one at a time.

    `changed` is called, with the lock, after each change of what would be fired.
    """

    def __init__(self, hub: Hub, changed: Callable[[], None], lock: threading.RLock) -> None:
        self._hub = hub
        self._changed = changed
        self._states: list[Sequence] = []
        self._at = -1
        self._in_use = False
        self._plan: Plan | None = None
        self._limits: BoardLimits | None = None
        self._lock = lock

    # -- what it is shown against ------------------------------------------------------------------------------
    def use_plan(self, plan: Plan | None) -> None:
        """Take the plan that says when drops reach a beam; the table starts from the first one."""
        with self._lock:
            self._plan = plan
            if plan is not None and not self._states:
                self._states, self._at = [round_times(plan.sequence)], 0
            self._show()

    def use_limits(self, limits: BoardLimits) -> None:
        """Check against the limits of the board that is connected."""
        with self._lock:
            self._limits = limits
            self._show()

    @property
    def sequence(self) -> Sequence:
        """The present table; raises UserError if there is none yet."""
        with self._lock:
            if self._at < 0:
                raise UserError(
                    "there is no table yet: it starts from the plan, which is still being calculated"
                )
            return self._states[self._at]

    @property
    def in_use(self) -> bool:
        """Whether this table is armed, and not the plan."""
        return self._in_use

    def use(self, on: bool) -> None:
        """Choose what is armed: this table or the plan."""
        with self._lock:
            if on:
                _ = self.sequence
            self._in_use = on
            self._tell()

    # -- changes -----------------------------------------------------------------------------------------------
    def take(self, sequence: Sequence) -> None:
        """Put another sequence in its place; it can be undone."""
        with self._lock:
            if self._at >= 0 and sequence == self._states[self._at]:
                return
            if len(sequence.rows) > _ROWS_MOST:
                raise UserError(f"a table of {len(sequence.rows)} rows: at most {_ROWS_MOST}")
            self._describe(sequence)  # raises where it cannot be put on the board's clock
            self._states = [*self._states[: self._at + 1], sequence][-STATES_MOST:]
            self._at = len(self._states) - 1
            self._tell()

    def set(self, row: int, field: str, text: str) -> None:
        """Set a field of a row, counted from 1, or of the whole table (row 0), to what was typed."""
        with self._lock:
            self.take(self._change(row, field, text))

    def look(self, row: int, field: str, text: str) -> dict[str, Any]:
        """What the table would be with that change, without making it: for a bar that is being dragged."""
        with self._lock:
            return self._describe(self._change(row, field, text))

    def step(self, row: int, field: str, by: str) -> None:
        """Add to a delay or a width, as the table has it."""
        if field not in ("delay", "width"):
            raise UserError(f"{field} cannot be changed in steps: type a value")
        by_s = parse_duration(by, key="step")
        with self._lock:
            now_s = getattr(self._find(row), f"{field}_s")
            self.set(row, field, write_quantity(max(0.0, round(now_s + by_s, 12)), "duration"))

    def add(self, output: str) -> None:
        """Add a row: after the last one of that output, or at the release."""
        with self._lock:
            shot = self.sequence
            same = [row for row in shot.rows if row.output == output]
            if same:
                self.copy(len(shot.rows) - shot.rows[::-1].index(same[-1]))
                return
            signal = Signal.find(output)
            width_s = _WIDTHS_S.get("" if signal is None else signal.kind, 0.0)
            row = Row("release", 0, output, 0.1, width_s)
            self.take(replace(shot, rows=(*shot.rows, row)))

    def copy(self, row: int) -> None:
        """Add a row like another one, as soon after it as the board allows."""
        with self._lock:
            shot, one = self.sequence, self._find(row)
            limits = self._limits or BoardLimits()
            ticks = next(t for t in shot.to_table(limits.clock_hz).rows if t.origin == row - 1)
            free_s = limits.find_free(ticks) / limits.clock_hz
            # The next 0.1 ms: 5e-5 rounds up.
            later = replace(one, delay_s=round(one.delay_s + free_s + 5e-5, 4))
            self.take(replace(shot, rows=(*shot.rows[:row], later, *shot.rows[row:])))

    def remove(self, row: int) -> None:
        """Remove a row."""
        with self._lock:
            shot = self.sequence
            self._find(row)
            rest = (*shot.rows[: row - 1], *shot.rows[row:])
            if not rest:
                raise UserError("a table needs at least one row: change this one instead")
            self.take(_fit_window(replace(shot, rows=rest)))

    def move(self, steps: int) -> None:
        """Undo (-1) or redo (+1); raises UserError if there is nothing."""
        with self._lock:
            at = self._at + steps
            if not 0 <= at < len(self._states):
                raise UserError(f"there is nothing to {'undo' if steps < 0 else 'redo'}")
            self._at = at
            self._tell()

    def read(self, text: FileText) -> None:
        """Read a sequence file; raises SequenceError if it is not one."""
        content = parse_toml(text, "the file", "sequence file", SequenceError)
        self.take(parse_sequence(content, "the file"))

    def write(self) -> str:
        """The table as a sequence file."""
        return write_toml(sequence_to_file(self.sequence))

    # -- one change --------------------------------------------------------------------------------------------
    def _find(self, row: int) -> Row:
        rows = self.sequence.rows
        if not 1 <= row <= len(rows):
            raise UserError(f"row {row} no longer exists. Choose another one")
        return rows[row - 1]

    def _change(self, row: int, field: str, text: str) -> Sequence:
        if row == 0:
            return _change_whole(self.sequence, field, text)
        shot, one = self.sequence, self._find(row)
        if field in ("delay", "width"):
            time_s = _read_time(field, text)
            fresh = (
                replace(one, delay_s=time_s) if field == "delay" else replace(one, width_s=time_s)
            )
        elif field == "output":
            fresh = replace(one, output=text)
        elif field == "anchor":
            fresh = self._anchor(shot, one, text)
        else:
            raise UserError(f"a row has no {field}")
        changed = replace(shot, rows=(*shot.rows[: row - 1], fresh, *shot.rows[row:]))
        return _fit_window(changed) if field == "anchor" else changed

    def _anchor(self, shot: Sequence, row: Row, text: str) -> Row:
        """Follow another edge, written `beam1 2` or `release`, and stay where it is in the picture."""
        name, _, number = text.partition(" ")
        if name not in ANCHORS or not (number.isdecimal() if name in BEAMS else not number):
            raise UserError(
                f"'{text}' is not an anchor: expected release, or a beam and an edge such as beam1 2"
            )
        count = int(number) if number else 0
        if name in BEAMS and not 1 <= count <= 255:
            raise UserError(f"edge {count} of {name}: expected 1 to 255")
        fresh = replace(row, anchor=name, count=count)
        others = tuple(one for one in shot.rows if one is not row)
        edges = self._expect(replace(shot, rows=(*others, fresh)))
        base_s = find_start(replace(fresh, delay_s=0.0), edges)
        delay_s = find_start(row, self._expect(shot)) - base_s
        return replace(fresh, delay_s=round(max(0.0, delay_s), 4))

    def _expect(self, shot: Sequence) -> ExpectedEdges:
        return expect_edges(shot, self._plan)

    # -- what pages see ----------------------------------------------------------------------------------------
    def _tell(self) -> None:
        self._show()
        self._changed()

    def _show(self) -> None:
        self._hub.set(table=self._describe(self.sequence) if self._at >= 0 else None)

    def _describe(self, shot: Sequence) -> dict[str, Any]:
        limits = self._limits or BoardLimits()
        edges = self._expect(shot)
        problems = find_problems(shot.to_table(limits.clock_hz), limits)
        return {
            "name": shot.name,
            "board": limits.name if self._limits else "",
            "in_use": self._in_use,
            "chart": to_json(describe_sequence(shot, limits, edges).panels[0][0]),
            "problems": [{"row": one.row, "text": one.text} for one in problems],
            "caution": warn_of_flicker(shot.rows),
            "rows": [_describe_row(row, edges) for row in shot.rows],
            "whole": _describe_whole(shot),
            "outputs": [
                {"name": one.name, "label": one.label}
                for one in OUTPUTS
                if one.name in limits.outputs
            ],
            "beams": [beam for beam in BEAMS if beam in limits.inputs],
            "can_undo": self._at > 0,
            "can_redo": self._at < len(self._states) - 1,
        }


def round_times(shot: Sequence) -> Sequence:
    """The same rounded to microseconds, as people write it: a plan has more digits than anyone needs."""
    rows = tuple(
        replace(row, delay_s=round(row.delay_s, 6), width_s=round(row.width_s, 6))
        for row in shot.rows
    )
    times = {f"{key}_s": round(getattr(shot, f"{key}_s"), 6) for key in _TIMES}
    return replace(shot, rows=rows, **times)


def _say_time(seconds: float) -> str:
    """A time as a field shows it, to 0.1 µs."""
    if seconds < 1e-3:
        return write_quantity(round(seconds, 9), "duration")
    return f"{round(seconds * 1e3, 4):.9g} ms"


def _describe_row(row: Row, edges: ExpectedEdges) -> dict[str, Any]:
    signal = Signal.of(row.output)
    return {
        "output": row.output,
        "label": signal.label,
        "kind": signal.kind,
        "anchor": row.anchor,
        "count": row.count,
        "where": "release"
        if row.anchor == "release"
        else f"edge {row.count} of {Signal.of(row.anchor).label}",
        "delay": _say_time(row.delay_s),
        "width": _say_time(row.width_s),
        "delay_ms": row.delay_s * 1e3,
        "width_ms": row.width_s * 1e3,
    }


def _describe_whole(shot: Sequence) -> list[dict[str, Any]]:
    fields: list[dict[str, Any]] = [{"key": "name", "value": shot.name, "options": None}]
    for key in _TIMES:
        value = _say_time(getattr(shot, f"{key}_s"))
        fields.append({"key": key, "value": value, "options": None})
    for beam, awaited in zip(BEAMS, shot.awaits, strict=True):
        if awaited:
            edge = getattr(shot, f"{beam}_edge")
            fields.append({"key": f"{beam} edge", "value": edge, "options": list(BEAM_EDGES)})
    return fields


def _change_whole(shot: Sequence, field: str, text: str) -> Sequence:
    if field == "name":
        if len(text) > _NAME_MOST:
            raise UserError(f"the name has {len(text)} characters; at most {_NAME_MOST}")
        return replace(shot, name=text.strip())
    if field in _TIMES:
        changes: Mapping[str, Any] = {f"{field}_s": _read_time(field, text)}
    elif field.endswith(" edge") and field.removesuffix(" edge") in BEAMS:
        changes = {field.replace(" ", "_"): text}
    else:
        raise UserError(f"a table has no {field}")
    return replace(shot, **changes)


def _fit_window(shot: Sequence) -> Sequence:
    """Await as many edges as the rows need; a window as soon as a row follows a beam, and none when no row does."""
    shot = replace(shot, await1=None, await2=None)
    if any(shot.awaits) == bool(shot.window_s):
        return shot
    return replace(shot, window_s=_WINDOW_S if any(shot.awaits) else 0.0)


def _read_time(key: str, text: str) -> float:
    seconds = parse_duration(text, key=key, example="190 ms")
    if not 0.0 <= seconds <= 3600.0:
        raise UserError(f"{key} = {text}: expected 0 to 3600 s")
    return seconds
