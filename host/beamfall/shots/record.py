"""What the log keeps of a shot and of a series: one typed object each, and one place to add a value.

A new value of a shot is a field of `ShotRecord`. The log stores it, `shots export` makes a column of it with the
meaning given here, and `shots show --json` prints it. Times of day are microseconds of UTC since 1970. Times within a
shot are integer ticks of `clock_hz`, counted from the release.
"""

from __future__ import annotations

import contextlib
import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from beamfall.errors import LogDamaged
from beamfall.events import Readings
from beamfall.places import find_log
from beamfall.ports import brings_rig
from beamfall.setup.rig import Rig
from beamfall.setup.signals import Signal, SignalKind
from beamfall.setup.table import Table

BEGUN = "begun"  # from before the release until the outcome is known
UNKNOWN = "outcome unknown"  # how people see a shot that was only begun
NOT_RELEASED = "not-released"
PROGRAM_ENDED = "program-ended"  # why it was not released: its program ended before
DAMAGED = "damaged"  # how people see a shot that the log can no longer read
# In `swept` of drops that fall before a series: they are not like the ones to follow
WARM_UP = "warm_up"
STAMPED, DERIVED = "stamped", "derived"


def kept(meaning: str, *, name: str = "", default: Any = dataclasses.MISSING) -> Any:
    """A field that the log keeps.

    `meaning` describes it to other programs, under `name` if that differs from the field's own name.
    """
    default = {"default_factory": dict} if default is dict else {"default": default}
    return field(**default, metadata={"meaning": meaning, "name": name})


optional = partial(kept, default=None)


@dataclass(frozen=True, slots=True)
class EdgeRecord:
    """An edge of a shot on the line `what`, a signal's name.

    `planned_ticks` is None for what no row commands (beams, light) and for a row whose beam edge
    never came; `ticks` is None for a planned edge that was not seen.
    """

    what: str = kept(
        "The line: valve, flash, beam, light or button with its number, focus or shutter."
    )
    edge: str = kept("on or off of an output or light; dark or clear of a beam.")
    planned_ticks: int | None = kept("Commanded time from the release; empty: not commanded.")
    ticks: int | None = kept(
        "Measured time from the release; empty: not seen.", name="measured_ticks"
    )
    source: str = kept(
        "stamped: timed on the line itself; derived: from the command.", default=DERIVED
    )

    def __post_init__(self) -> None:
        # A former name, as older logs have it, ends here.
        object.__setattr__(self, "what", Signal.of(self.what).name)

    @property
    def signal(self) -> Signal:
        return Signal.of(self.what)

    @property
    def kind(self) -> SignalKind:
        return self.signal.kind

    @property
    def level(self) -> int:
        """The level after it: 1 is on or dark."""
        return int(self.edge in ("on", "dark"))

    @property
    def time_ticks(self) -> int | None:
        """Its time: as measured, or else as planned."""
        return self.planned_ticks if self.ticks is None else self.ticks


def default_of(one: dataclasses.Field[Any]) -> Any:
    """Return the default of a field, `dataclasses.MISSING` if it has none."""
    return one.default if one.default_factory is dataclasses.MISSING else one.default_factory()


# Said under `anchor` and `planned` in JSON.
_IN_GROUPS = ("anchor_beam", "anchor_edge", "anchor_count", "flash_delay_ticks", "spacing_ticks")


def as_plain(name: str, value: Any) -> Any:
    """Return a field's value as JSON has it."""
    return [dataclasses.asdict(one) for one in value] if name == "readings" else value


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotRecord:
    """One shot. Words are as people see them: `armed-for-sensor`, `few-edges`.

    `shot`, `series` and `number` are keys of the log, None if a shot is not in it. `edges_missing` among the counts:
    how many of the shot's edges the board had to forget before they were read, so that `edges` is incomplete.
    """

    shot: int | None = optional("Number of the shot in the log; joins edges and shots.")
    series: int | None = optional("Number of the series.")
    number: int | None = optional("Number of the shot in its series, from 1.")
    begun_us: int | None = optional("When the shot was begun, UTC.", name="begun")
    state: str = kept("How the shot ended; 'outcome unknown': the board's report never came.")
    completed_us: int | None = optional(
        "When its outcome was written, UTC; empty: never.", name="completed"
    )
    cause: str | None = optional("Why it did not end as fired; empty if it did.")
    clock_hz: int = kept("Ticks per second of this shot's clock.")
    timing: str = kept("Class of timing: how the board times edges.")
    port: str = kept("Port the board was on.", default="")
    boot_id: int | None = optional("Identifies the board's run; changes with every reset.")
    release: int | None = optional("Number of the release in that run.", name="release_number")
    host: str | None = optional("Program that began the shot: machine, process, start.")
    asked_by: str = kept(
        "Device on which somebody released it, as named on the page; empty: not from the page.",
        default="",
    )
    seed: int | None = optional("Seed of a simulated rig; empty: a real one.")
    anchor_beam: str | None = optional("Beam that the flash followed; empty: the release.")
    anchor_edge: str | None = optional("Which of that beam's edges counted: dark or clear.")
    anchor_count: int = kept("Which counted edge, from 1; 0 is the release.", default=0)
    flash_delay_ticks: int | None = optional("From the anchor to the flash contact.")
    spacing_ticks: int | None = optional("From valve opening 1 to valve opening 2.")
    swept: Mapping[str, Any] | None = optional(
        "What a series set for this shot: the value of a sweep, the number in a search; empty: nothing."
    )
    counts: Mapping[str, int] = kept(
        "The board's own figures: edges lost, rows late, edges counted; edges_missing: not read in time.",
        default=dict,
    )
    link: Mapping[str, Any] | None = optional("Link counters of the session so far.")
    truth: Mapping[str, Any] | None = optional(
        "What really happened on a simulated rig; empty: a real one."
    )
    note: str = kept("The user's note.", default="")
    rating: int | None = optional("The user's rating, 1 to 5; empty: none.")
    picture: str | None = optional("The photograph; empty: none known.")
    picture_match: Mapping[str, Any] | None = optional(
        "How the photograph was found; empty: named by hand."
    )
    keywords: tuple[str, ...] = kept(
        "Keywords that a photo catalogue has given the photograph.", default=()
    )
    exposure: Mapping[str, Any] | None = optional(
        "Exposure settings of the photograph (time_s, aperture, iso, focal_length_m, mode); empty: not known."
    )
    readings: tuple[Readings, ...] = kept(
        "Coil current (mA) and supply voltage (mV) around each opening of a valve, from start_ticks on, spacing_ticks "
        "apart; empty: the board does not measure them.",
        default=(),
    )
    picture_measured: Mapping[str, Any] | None = optional(
        "What was measured in the photograph: stage, marks in pixels, lengths in mm; empty: not measured."
    )
    edges: tuple[EdgeRecord, ...] = kept("The shot's edges in order of time.", default=())

    @property
    def shown_state(self) -> str:
        """The state as people see it."""
        return UNKNOWN if self.state == BEGUN else self.state

    @property
    def pictures(self) -> Sequence[Mapping[str, Any]]:
        """What each light of a simulated shot showed; empty of a real one."""
        return (self.truth or {}).get("pictures") or ()

    def to_json(self) -> dict[str, Any]:
        """Return the object of `shoot --json` and `shots show --json`: plain values.

        What only the log knows (a note, a series) is left out for a shot that is not in it.
        """
        content: dict[str, Any] = {
            "shot": self.shot,
            "state": self.shown_state,
            "cause": self.cause,
            "seed": self.seed,
            "clock_hz": self.clock_hz,
            "timing": self.timing,
            "anchor": {
                "beam": self.anchor_beam,
                "edge": self.anchor_edge,
                "count": self.anchor_count,
            },
            "planned": {
                "flash_delay_ticks": self.flash_delay_ticks,
                "spacing_ticks": self.spacing_ticks,
            },
            "edges": [dataclasses.asdict(edge) for edge in self.edges],
        }
        for one in dataclasses.fields(self):
            value, default = getattr(self, one.name), default_of(one)
            said = one.name in _IN_GROUPS or default is dataclasses.MISSING or value == default
            if not said:
                content.setdefault(one.name, as_plain(one.name, value))
        return content


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesRecord:
    """Shots that belong together: what they were fired for, and the note on them."""

    series: int | None = optional("Number of the series.")
    kind: str = kept("What the series is: shoot, sweep, seek, repeat, ...")
    name: str = kept("Name of the series.", name="series_name", default="")
    note: str = kept("Note on the series.", name="series_note", default="")
    seed: int | None = optional("Random seed of the series.", name="series_seed")
    settings: Mapping[str, Any] = kept(
        "Settings of the series; rests are drawn from rest_seed.", name="series_settings"
    )
    begun_us: int = kept("When the series was begun, UTC.", name="series_begun")


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardRecord:
    """A board with its firmware."""

    name: str = kept("Name of the board.", name="board")
    unique_id: str = kept("The board's unique id, hexadecimal.")
    firmware: str = kept("Version of the firmware.")
    protocol: int = kept("Version of the wire protocol.")
    timing: str = kept("Class of timing: how the board times edges.")
    clock_hz: int = kept("Ticks per second of its clock.")


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotLine:
    """A shot in a list: the values of `ShotRecord` with these names, and the rig's name."""

    shot: int
    series: int
    number: int
    begun_us: int
    state: str
    cause: str | None = None
    rig_name: str | None = None
    port: str = ""
    clock_hz: int = 1
    anchor_beam: str | None = None
    anchor_count: int = 0
    flash_delay_ticks: int | None = None
    spacing_ticks: int | None = None
    swept: Mapping[str, Any] | None = None
    rating: int | None = None
    note: str = ""
    picture: str | None = None

    @property
    def shown_state(self) -> str:
        """The state as people see it."""
        return UNKNOWN if self.state == BEGUN else self.state


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesLine(SeriesRecord):
    """A series in a list, with how many shots it has and how many of them are not completed."""

    series: int
    rig_name: str | None
    shots: int
    unknown: int


def rebuild_rig(content: Mapping[str, Any], what: str) -> Rig:
    """Return a rig from its plain values; raises LogDamaged that names it as `what`."""
    try:
        return Rig.from_dict(content)
    except (TypeError, ValueError, LookupError, AttributeError, ArithmeticError) as error:
        raise LogDamaged(find_log(), what, str(error)) from error


@dataclass(frozen=True, slots=True)
class LoggedShot:
    """A shot with what it shares with others: its sequence table, its rig as plain values (None: none), its board."""

    record: ShotRecord
    table: Table
    rig: Mapping[str, Any] | None
    board: Mapping[str, Any]

    @property
    def line(self) -> ShotLine:
        """The shot as in a list."""
        names = (one.name for one in dataclasses.fields(ShotLine) if one.name != "rig_name")
        name = None if self.rig is None else str(self.rig.get("name", ""))
        return ShotLine(rig_name=name, **{one: getattr(self.record, one) for one in names})

    def make_rig(self) -> Rig | None:
        """Return the rig as it was, None if there was none; raises LogDamaged."""
        return (
            None
            if self.rig is None
            else rebuild_rig(self.rig, f"the rig of shot {self.record.shot}")
        )

    @property
    def known_rig(self) -> Rig | None:
        """The rig as it was; None also if it cannot be read."""
        with contextlib.suppress(LogDamaged):
            return self.make_rig()
        return None

    @property
    def is_simulated(self) -> bool:
        """Whether a simulated rig fired it, as the name of its port says."""
        return brings_rig(self.record.port)

    @property
    def sees_light(self) -> bool:
        """Whether its rig has a flash-seen sensor; also True if the log does not say."""
        rig = self.known_rig
        return rig is None or rig.fitted.flash_seen
