"""What a board reports, as values: state changes, edges, ends of shots, and what went missing."""

from __future__ import annotations

import re
from collections import deque
from dataclasses import dataclass, field

from beamfall.link import Origin, Report
from beamfall.setup.signals import Signal, SignalKind
from beamfall.wire import WireEnum, get_definition

EDGES_MOST = 50_000  # most edges kept of one shot or watch: a flooding board must not fill memory
_STAMPED = 2
_LEVEL = 1


@dataclass(frozen=True, slots=True)
class Edge:
    """One edge: the line, the level after it, its time in ticks from the release.

    `stamped` is True if the board timed the line itself, False if it only knows what it commanded.
    """

    signal: Signal
    level: int
    ticks: int
    stamped: bool

    @property
    def word(self) -> str:
        """The level in words: dark or clear for a beam, on or off for everything else."""
        if self.signal.kind is SignalKind.BEAM:
            return "dark" if self.level else "clear"
        return "on" if self.level else "off"


@dataclass(frozen=True, slots=True)
class StateChanged:
    """The board's state has changed; `ticks` count from the release, or are 0 without one."""

    release: int
    state: WireEnum
    cause: WireEnum
    ticks: int


@dataclass(frozen=True, slots=True)
class EdgesSeen:
    """Edges in time order. In a watch their ticks count from its start."""

    activity: WireEnum
    release: int
    edges: tuple[Edge, ...]


@dataclass(frozen=True, slots=True)
class ShotDone:
    """A shot, service action or watch has ended; fields as in messages.toml."""

    activity: WireEnum
    release: int
    state: WireEnum
    cause: WireEnum
    digest: bytes
    ended_ticks: int
    edges: int
    edges_lost: int
    rows_late: int
    worst_late_ticks: int
    beam1_counted: int
    beam2_counted: int
    beam_edges_ignored: int


@dataclass(frozen=True, slots=True)
class Forgotten:
    """The board's memory was full: it dropped reports from report `first` on; totals of this boot."""

    first: int
    reports: int
    shots: int


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something the firmware did not expect, in its own words; the number of a refusal is explained.

    The link says in the same way which reports it could not read or never got: see `origin`. `about`: the line that
    it is about; `refusal`: why the board refused; each None where the text does not say it.
    """

    text: str
    origin: Origin = Origin.BOARD
    about: Signal | None = None
    refusal: WireEnum | None = None


Event = StateChanged | EdgesSeen | ShotDone | Forgotten | Trouble


def make_event(report: Report) -> Event:
    fields = report.message.fields
    if report.name == "edges":
        base = fields["base_ticks"]
        edges = tuple(
            Edge(
                Signal.at(edge.signal),
                edge.mark & _LEVEL,
                base + edge.ticks,
                bool(edge.mark & _STAMPED),
            )
            for edge in fields["edges"]
        )
        return EdgesSeen(fields["activity"], fields["release"], edges)
    if report.name == "state_changed":
        return StateChanged(**fields)
    if report.name == "shot_done":
        return ShotDone(**fields)
    if report.name == "forgotten":
        return Forgotten(**fields)
    return _read_trouble(fields["text"], report.origin)


# What the firmware's board.py says of its button begins so. Of a refusal it has room for the number only.
_BUTTON = "the button "
_REFUSAL = re.compile(r"refusal (\d{1,3})")


def _read_trouble(text: str, origin: Origin) -> Trouble:
    about = Signal.button1 if origin is Origin.BOARD and text.startswith(_BUTTON) else None
    found = _REFUSAL.search(text)
    try:
        refusal = None if found is None else get_definition().enum("refusal")(int(found[1]))
    except ValueError:  # a later firmware's
        refusal = None
    if found is not None and refusal is not None:
        text = text.replace(found[0], refusal.meaning.partition("; detail")[0])
    return Trouble(text, origin, about, refusal)


@dataclass(frozen=True, slots=True)
class Readings:
    """Coil current and supply voltage around one opening of a valve.

    `start_ticks` counts from the release, `spacing_ticks` from one reading to the next; a voltage was read half a
    spacing after its current.
    """

    start_ticks: int
    spacing_ticks: int
    current_ma: tuple[int, ...]
    supply_mv: tuple[int, ...]


@dataclass(frozen=True)
class Outcome:
    """A complete shot, service action or watch: its end and all its edges, in time order.

    `readings`: around each opening, where the board measures its valves' supply.
    """

    boot_id: int
    done: ShotDone
    edges: tuple[Edge, ...]
    # False if the board dropped reports of it, or it had over EDGES_MOST edges
    complete: bool = True
    readings: tuple[Readings, ...] = ()


@dataclass
class OutcomeCollector:
    """Builds outcomes from events, in the order in which they come."""

    _edges: list[Edge] = field(default_factory=list)
    _about: tuple[int, int] | None = None

    def take(self, boot_id: int, event: Event) -> Outcome | None:
        """Take one event; return the outcome that it completes, if it does."""
        if isinstance(event, EdgesSeen):
            about = (int(event.activity), event.release)
            if about != self._about:
                self._edges.clear()
                self._about = about
            self._edges += event.edges[: max(0, EDGES_MOST - len(self._edges))]
        elif isinstance(event, Forgotten):
            self._edges.clear()
        elif isinstance(event, ShotDone):
            fits = self._about == (int(event.activity), event.release)
            edges = tuple(self._edges) if fits else ()
            self._edges.clear()
            self._about = None
            return Outcome(boot_id, event, edges, complete=len(edges) == event.edges)
        return None


_OUTCOMES_KEPT = 500  # the newest ones that nobody took: a flooding board must not fill memory
EDGES_KEPT = 2 * EDGES_MOST  # of all those outcomes together: about 15 MB


class KeptOutcomes:
    """The newest outcomes not yet taken."""

    def __init__(self) -> None:
        self._kept: deque[Outcome] = deque(maxlen=_OUTCOMES_KEPT)

    def add(self, outcome: Outcome) -> None:
        """Keep one more; if there are too many edges in all, drop those of the oldest outcome."""
        self._kept.append(outcome)
        while len(self._kept) > 1 and sum(len(one.edges) for one in self._kept) > EDGES_KEPT:
            self._kept.popleft()

    def take(self) -> list[Outcome]:
        """Return all outcomes and forget them."""
        found = list(self._kept)
        self._kept.clear()
        return found

    def claim(self, activity: str, number: int | None, boot_id: int) -> Outcome | None:
        """Return the outcome of an activity in one boot of the board and forget it; None if it is not here.

        `number`: of the release, None for any. The board counts from 1 in each boot.
        """
        for outcome in self._kept:
            done = outcome.done
            ours = outcome.boot_id == boot_id
            if ours and done.activity.name == activity and number in (None, done.release):
                self._kept.remove(outcome)
                return outcome
        return None
