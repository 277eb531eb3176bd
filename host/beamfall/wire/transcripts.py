"""Makes protocol/transcripts.json: whole sessions of a host and a board, each with what the host may say at its end.

All values are invented. The board is one of 125 MHz whose only table opens valve 1, or holds the shutter, after 1 ms.
"""

from __future__ import annotations

import json
from typing import Any

from beamfall.wire.framing import encode_frame
from beamfall.wire.messages import Codec, Message
from beamfall.wire.schema import Definition
from beamfall.wire.table import make_table_messages
from beamfall.wire.values import fields_to_json, make_typical

_ABOUT = (
    'Sessions with Beamfall\'s wire, see SPEC.md, "Transcripts". Made by `python -m beamfall.wire.regenerate`: do not '
    "edit. Steps are in order. Bytes are hexadecimal, without the 0x00 that a host may put before a frame. Fields that "
    "depend on the board are typical values; all values are invented."
)
_MS = 125_000
_ROWS = {"drop": ("valve1", 20 * _MS), "long": ("shutter", 7000 * _MS)}
_TAIL = 5 * _MS
_BOOTS = (0x1F3A_55C7, 0x2B91_0E44)
_SESSIONS = (0x5AC3, 0x71F0)


class _Story:
    """One transcript, written down step by step. The newest session, request and report are counted here."""

    def __init__(self, definition: Definition, row: str) -> None:
        self._definition = definition
        self._codec = Codec(definition)
        output, width = _ROWS[row]
        dark = definition.enum("beam_edge")["dark"]
        settings = {
            "window_ticks": 0, "tail_ticks": _TAIL, "blanking_ticks": 0, "dwell_ticks": 0,
            "beam1_edge": dark, "beam2_edge": dark, "await1": 0, "await2": 0,
        }  # fmt: skip
        self._output = definition.enum("signal")[output]
        self._off = _MS + width
        self._table = make_table_messages(
            self._codec, settings, [(0, 0, int(self._output), 0, _MS, width)]
        )
        self.steps: list[dict[str, Any]] = []
        self._session = -1
        self._number = 0
        self._report = 0
        self._kept = 0
        self._boot = 0
        self._released = 0

    # -- steps ---------------------------------------------------------------------------------
    def _frame(self, source: str, message: Message, number: int, fate: str) -> None:
        frame = self._codec.make_frame(message, _SESSIONS[self._session], number)
        self.steps.append(
            {
                "from": source, "message": message.name, "session": frame.session, "number": number,
                "fields": fields_to_json(self._definition, message),
                "frame": encode_frame(frame, self._definition).hex(), "fate": fate,
            }
        )  # fmt: skip

    def host(self, name: str, fate: str = "arrives", **fields: Any) -> None:
        self._number += 1
        self._frame("host", Message(name, fields), self._number, fate)

    def again(self) -> None:
        """The host repeats its newest request."""
        newest = next(
            one
            for one in reversed(self.steps)
            if one.get("number") == self._number and one["from"] == "host"
        )
        self.steps.append({**newest, "fate": "arrives"})

    def answer(self, name: str, fate: str = "arrives", **fields: Any) -> None:
        typical = make_typical(self._definition, name)
        self._frame("board", Message(name, typical | fields), self._number, fate)

    def done(self, request: str, fate: str = "arrives") -> None:
        self.answer("done", fate, request=self._definition.messages[request].id)

    def report(self, name: str, **fields: Any) -> None:
        self._report += 1
        self._frame("board", Message(name, fields), self._report, "arrives")

    def acknowledge(self) -> None:
        self._kept = self._report
        self._frame("host", Message("acknowledge", {"through": self._report}), 0, "arrives")

    def wait(self, ms: int) -> None:
        self.steps.append({"wait_ms": ms})

    def vanish(self) -> None:
        self.steps.append({"port": "vanishes"})

    def restart(self) -> None:
        self._boot += 1
        self._report = self._kept = self._released = 0
        self.steps.append({"board": "restarts"})

    # -- parts ---------------------------------------------------------------------------------
    def open(self) -> None:
        """A session; the board sends again what has not been acknowledged."""
        self._session += 1
        self._number = 0
        self._report = self._kept
        self.host("hello", definition=self._definition.digest)
        enum = self._definition.enum
        cause = "none" if self._kept else "restarted"
        self.answer(
            "welcome", boot_id=_BOOTS[self._boot], last_release=self._released, oldest_report=self._kept + 1,
            state=enum("state")["fired" if self._released else "idle"], cause=enum("cause")[cause],
        )  # fmt: skip

    def upload(self) -> None:
        for request in self._table.requests:
            self.host(request.name, **request.fields)
            self.done(request.name)
            if request.name == "table_begin":
                self._state("idle", "none", 0, 0)
                self.acknowledge()

    def release(self, fate: str = "arrives") -> None:
        self.host("release", fate, boot_id=_BOOTS[self._boot], release=1, digest=self._table.digest)

    def begun(self, fate: str = "arrives") -> None:
        self._released = 1
        self.done("release", fate)

    def fired(self) -> None:
        self._state("fired", "none", 1, 0)

    def status(self) -> None:
        self.host("status")
        enum = self._definition.enum
        self.answer(
            "status_is", boot_id=_BOOTS[self._boot], state=enum("state")["fired"], cause=enum("cause")["none"],
            activity=enum("activity")["none"], table=enum("table")["ready"], digest=self._table.digest, last_release=1,
        )  # fmt: skip

    def end(self, cause: str = "none", off: int | None = None) -> None:
        """Edges, state and end of the shot."""
        enum = self._definition.enum
        edge = self._definition.records["edge"].python
        off = self._off if off is None else off
        edges = (edge(self._output, 3, _MS), edge(self._output, 2, off))
        shot = enum("activity")["shot"]
        self.report("edges", activity=shot, release=1, base_ticks=0, edges=edges)
        ended = off + _TAIL if cause == "none" else off
        if cause != "none":
            self._state("idle", cause, 1, ended)
        self.report(
            "shot_done", activity=shot, release=1, state=enum("state")["fired" if cause == "none" else "idle"],
            cause=enum("cause")[cause], digest=self._table.digest, ended_ticks=ended, edges=2, edges_lost=0,
            rows_late=0, worst_late_ticks=0, beam1_counted=0, beam2_counted=0, beam_edges_ignored=0,
        )  # fmt: skip
        self.acknowledge()

    def _state(self, state: str, cause: str, release: int, ticks: int) -> None:
        enum = self._definition.enum
        self.report(
            "state_changed", release=release, state=enum("state")[state], cause=enum("cause")[cause], ticks=ticks
        )  # fmt: skip


# Name, row, steps after opening and uploading, and what the host may say of release and end. A step is a method of
# `_Story` with its arguments. An abort comes before a board reports the first edge: some do only at the end.
_STORIES = (
    ("a release", "drop", "release, begun, fired, acknowledge, wait 100, end", "begun", "fired"),
    (
        "an abort",
        "long",
        f"release, begun, fired, acknowledge, wait 15, host abort, done abort, end aborted {15 * _MS}",
        "begun",
        "aborted",
    ),
    (
        "a lost answer",
        "drop",
        "release, begun lost, fired, acknowledge, wait 240, end, again, begun",
        "begun",
        "fired",
    ),
    (
        "a reconnection; the release had arrived",
        "drop",
        "release, begun lost, vanish, wait 100, open, fired, end, status",
        "begun",
        "fired",
    ),
    (
        "a reconnection; the release was lost",
        "drop",
        "release lost, vanish, open, release, begun, fired, acknowledge, wait 100, end",
        "begun",
        "fired",
    ),
    (
        "a cut between release and end",
        "drop",
        "release, begun, vanish, wait 100, open, fired, end",
        "begun",
        "fired",
    ),
    (
        "a restart before the answer",
        "drop",
        "release, begun lost, vanish, restart, open",
        "unknown",
        "unknown",
    ),
    (
        "a restart after the answer",
        "drop",
        "release, begun, vanish, restart, open",
        "begun",
        "unknown",
    ),
)


def render_transcripts(definition: Definition) -> str:
    """Return the text of transcripts.json."""
    told = []
    for name, row, steps, release, end in _STORIES:
        story = _Story(definition, row)
        for step in f"open, upload, {steps}".split(", "):
            method, *words = step.split()
            getattr(story, method)(*(int(one) if one.isdigit() else one for one in words))
        told.append(
            {"name": name, "steps": story.steps, "host_may_say": {"release": release, "end": end}}
        )
    content = {"about": _ABOUT, "definition": definition.digest.hex(), "transcripts": told}
    return json.dumps(content, indent=1, ensure_ascii=True) + "\n"
