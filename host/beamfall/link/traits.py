"""What may be asked of any port beside its bytes: time, chance, and the rig that some ports bring with them.

The answers in `PortTraits` are those of a real port. A port that brings a rig of its own answers for itself, so
that whoever uses a port never has to ask which kind it is.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple, Protocol, TypeVar

Planned = TypeVar("Planned")  # a `beamfall.setup.sequence.Sequence`


class StampedEdge(Protocol):
    """An edge of a shot, see `beamfall.events.Edge`."""

    @property
    def signal(self) -> int: ...
    @property
    def level(self) -> int: ...
    @property
    def ticks(self) -> int: ...


class Picture(Protocol):
    """What the port's own camera saw of one shot."""

    @property
    def shows(self) -> str | None:
        """The truth about it in a word of `beamfall seek`; None: it is black."""

    @property
    def stage_s(self) -> float | None:
        """The truth: its light after the drops met, in s; None where they did not, or it is black."""

    def draw(self, path: Path, *, tell: bool = True) -> None:
        """Draw it into a PNG; `tell`: say below what it shows. Raises UserError where it cannot be written."""


@dataclass(frozen=True, slots=True)
class KnownShot:
    """A shot whose truth the port knows: `truth` for the record (plain values), and its picture."""

    truth: dict[str, Any]
    picture: Picture


class Seen(NamedTuple):
    """What a photographer says of a picture: a word of `beamfall seek`, and heights in m where measured."""

    word: str
    jet_m: float | None = None
    drop_m: float | None = None


class Asked(Protocol):
    """A question to whoever stands beside the rig, see `beamfall.faults.questions.Question`."""

    @property
    def name(self) -> str: ...
    @property
    def answers(self) -> Collection[str]: ...


class Helper(Protocol):
    """Stands beside the port's rig, does what is asked and says what there is to see."""

    def begin(self, cautions: tuple[str, ...]) -> None: ...
    def prepare(self, question: Asked) -> None: ...
    def act(self, question: Asked, listen: Callable[[float], None]) -> None: ...
    def answer(self, question: Asked) -> str: ...
    def finish(self, question: Asked) -> None: ...


class Studio(Protocol):
    """The camera and the people of a port that brings its own rig."""

    def draw_sheet(
        self, pictures: Sequence[tuple[Picture, str]], path: Path, *, title: str = ""
    ) -> None:
        """Draw pictures with the words below each on one sheet (PNG), in order; raises as `Picture.draw`."""

    def draw_pictures(self, pictures: Sequence[Picture], path: Path) -> None:
        """Draw one picture alone, several as a sheet, numbered and described."""

    def find_photographer(self, *, heights: bool = False) -> Callable[[Picture | None], Seen]:
        """Return who says what a picture shows (None: there is none); with `heights` they measure, too."""

    def find_helper(self, *, valve: int, beam: int, flash: int, wrong_share: float = 0.0) -> Helper:
        """Return who helps to find a fault of these lines, wrong in `wrong_share` of the answers."""

    def describe_needs(self, stage_s: float, meeting: float, edge: str) -> dict[str, Any] | None:
        """What this rig needs to show that stage, in ms by name; None where it throws no jet.

        Drop 2 meets the jet at a share `meeting` of its rise; `edge` of the beam is the one that counts.
        """


class PortTraits:
    """What a real port answers. `studio` is None: its camera and its people are not the port's."""

    is_virtual_time: bool = False  # its clock passes only while the host waits: pages pace it
    seed: int | None = None  # all chance of a port whose shots can be repeated exactly
    repeats_boot_ids: bool = False  # each opening begins with the same boot id
    names_rig: bool = False  # the port's name says which rig is there, boards' ids do not
    studio: Studio | None = None

    def time_of_day_us(self, *, not_before_us: int = 0) -> int:
        """Now, in µs since 1970; a virtual clock is put forward to `not_before_us` where it is behind."""
        return time.time_ns() // 1000

    def take_shot(self, edges: Iterable[StampedEdge]) -> KnownShot | None:
        """Return what the port knows about the shot that has just ended, and forget it; None: nothing.

        `edges` are the shot's own, which fix where its clock began.
        """
        return None

    def as_set(self, sequence: Planned) -> Planned:
        """Return what is dialled in at this rig where `sequence` is planned: the same, on a real one."""
        return sequence

    def renew_chance(self, shots: int) -> None:
        """Move the port's chance on by so many shots: else the same drops would fall as at its first opening."""


REAL = PortTraits()
