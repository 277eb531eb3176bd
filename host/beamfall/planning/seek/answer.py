"""What the photographer says about a picture, and what the board measured of its shot."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass, field

from beamfall.errors import WrongValue
from beamfall.setup.rig_sections import Beam
from beamfall.setup.signals import SignalKind
from beamfall.setup.units import parse_length
from beamfall.shots import ShotRecord
from beamfall.shots.pulses import Pulse, find_times, find_usual_dwell, is_satellite, read_pulses
from beamfall.shots.remarks import Oddity, find_remarks

#: The words, with what they mean.
WORDS = {
    "before": "drop 2 is in the picture and has not touched the jet",
    "contact": "drop 2 just touches the jet and nothing spreads yet",
    "after": "the umbrella spreads, or has spread",
    "jet": "a jet, but no drop 2",
    "nothing": "lit, but neither jet nor drop 2",
    "missed": "drop 2 went past the jet, or struck where there was none",
    "found": "this is the picture you want",
    "black": "no light: the flash did not fire",
}
#: The same where more than two drops fall.
_OF_MORE = {
    "before": "the last drop is in the picture and has not touched the umbrella",
    "contact": "the last drop just touches the umbrella",
    "after": "the last drop has struck the umbrella and spreads",
    "jet": "a jet or an umbrella, but no falling drop",
    "nothing": "lit, but neither jet nor drop",
    "missed": "a drop went past jet or umbrella, or struck where there was none",
}
#: The same of one drop's splash.
_OF_ONE = {
    "before": "the drop is in the picture and has not struck",
    "crown": "the crown is still up",
    "cavity": "the crown has sunk and no jet has risen yet",
    "jet": "a jet without a separate droplet",
    "droplet": "the jet falls back, with a separate droplet",
    "nothing": "lit, but nothing to see",
    "found": WORDS["found"],
    "black": WORDS["black"],
}
#: How long before or after, where people say it: beside `before` and `after`.
AGES = {
    "just before": "the gap below the falling drop is narrower than the drop",
    "long before": "the gap below the falling drop is wider than four drops",
    "just after": "the umbrella is small: narrower than four drops",
    "long after": "the umbrella has its full width, or breaks up",
}
#: The same of one drop: how far its droplet has fallen, beside `droplet`.
_HALVES = {
    "high droplet": "the droplet is clearly above half the jet's height",
    "low droplet": "the droplet is clearly below half the jet's height",
}
_SEPARATORS = re.compile(r",(?!\d)|(?<!\d),")  # a comma between digits is a decimal comma
_MEASURED = ("jet", "drop", "width")
_HEIGHT_MOST_M = 0.3  # of what is measured in a picture
_WIDE = ("after", "found")  # the words beside which an umbrella has a width
SAME = {"umbrella": "after"}  # what people also call it
BLACK = "black"
NOTHING = "nothing"


def explain_words(drops: int, *, ages: bool = False) -> dict[str, str]:
    """The words and their meanings for a shot of that many drops; with `ages`, also those that refine a word."""
    if drops < 2:
        return _OF_ONE | (_HALVES if ages else {})
    return WORDS | (_OF_MORE if drops > 2 else {}) | (AGES if ages else {})


@dataclass(frozen=True)
class Answer:
    """One picture in a word; `since_s` is the time since the contact where it was measured (below 0: before it),
    with its standard error; heights above the surface where they were measured: the jet's top and
    drop 2's lowest point (of an umbrella: where it sits). `age`: of `before`, `after` or `droplet`, how far it is from
    the contact or has come; `width_m`: of the umbrella, rim to rim."""

    word: str
    jet_m: float | None = None
    drop_m: float | None = None
    age: str = ""
    width_m: float | None = None
    since_s: float | None = field(default=None, kw_only=True)
    since_error_s: float = field(default=0.0, kw_only=True)

    @property
    def said(self) -> str:
        """The word, with the age where one was given."""
        return self.age or self.word


@dataclass(frozen=True)
class Shot:
    """When things happened in a shot, in s from the first valve's opening.

    `times_s`: each drop's opening, the first at 0. `edges_s`: the counted beam edge of each drop, and `dwells_s` how
    long it kept the beam dark, each at its drop's place; None where it was not seen. `flash_s`: the flash's contact.
    """

    times_s: tuple[float, ...]
    flash_s: float
    edges_s: tuple[float | None, ...] = ()
    dwells_s: tuple[float | None, ...] = ()

    @property
    def spacing_s(self) -> float | None:
        """Opening 1 to opening 2; None with one drop."""
        return self.times_s[1] if len(self.times_s) > 1 else None

    def find_edge(self, number: int) -> float | None:
        """The beam edge of drop `number`, from 1."""
        return self.edges_s[number - 1] if number <= len(self.edges_s) else None


def read_answer(text: str, drops: int = 2) -> Answer:
    """Read what a person typed of a shot: a word, then `jet 31 mm`, `drop 42 mm` and `width 28 mm` where measured.

    A word may be cut short where it stays clear: `bef`, `just a`. `just` and `long` say more of `before` and `after`,
    `high` and `low` of `droplet`, which may be left out then. `jet 31 mm` is a jet of that height.
    Raises WrongValue, or UnitError for a length without a unit.
    """
    words = explain_words(drops)
    parts = _SEPARATORS.sub(" ", text).split()
    if not parts:
        raise WrongValue(
            f"say what the picture shows: {', '.join(words)}", of="answer", found="", choices=words
        )
    given = parts[0].lower()
    age = ""
    if of_age := [one for one in (AGES if drops > 1 else _HALVES) if one.split()[0] == given]:
        age = _choose_age(of_age, parts[1].lower() if len(parts) > 1 else "")
        del parts[1 : 1 + (len(parts) > 1 and age.split()[1].startswith(parts[1].lower()))]
        given = age.split()[1]
    same = SAME if drops > 1 else {}
    matches = {same.get(word, word) for word in (*words, *same) if word.startswith(given)}
    if len(matches) != 1:
        raise WrongValue(
            f"'{parts[0]}': expected one of {', '.join(words)}",
            of="answer", found=parts[0], choices=words,
        )  # fmt: skip
    heights: dict[str, float] = {}
    is_both = given == "jet" and len(parts) > 1 and parts[1].lower() not in _MEASURED
    rest = parts if is_both else parts[1:]  # `jet 31 mm` means `jet jet 31 mm`
    if is_both and "drop" in rest:
        raise WrongValue(
            "say what the picture shows first, such as: before jet 31 mm drop 42 mm",
            of="answer", found=text, choices=words,
        )  # fmt: skip
    while rest:
        name = rest.pop(0).lower()
        if name not in _MEASURED or not rest:
            raise WrongValue(
                f"'{name}': expected 'jet' or 'drop' with a height, or 'width', such as: jet 31 mm",
                of="measured", found=name, choices=_MEASURED,
            )  # fmt: skip
        value = rest.pop(0)
        if rest and rest[0] not in _MEASURED:
            value += " " + rest.pop(0)
        height = parse_length(value, key=name, example="31 mm")
        if not 0.0 < height < _HEIGHT_MOST_M:
            raise WrongValue(
                f"{name} = {value}: expected more than 0 and less than {_HEIGHT_MOST_M * 1e3:.0f} mm",
                of=name, found=height, low=0.0, high=_HEIGHT_MOST_M,
            )  # fmt: skip
        heights[name] = height
    word, width = matches.pop(), heights.get("width")
    if width is not None and (drops < 2 or word not in _WIDE):
        raise WrongValue(
            f"'{word}' with a width: only an umbrella has one, so the word is 'after'",
            of="width", found=word, choices=_WIDE,
        )  # fmt: skip
    return Answer(word, heights.get("jet"), heights.get("drop"), age, width)


def _choose_age(ages: list[str], after: str) -> str:
    """Which of the ages that begin alike is meant, by what follows; raises WrongValue if that stays open."""
    meant = [one for one in ages if after and one.split()[1].startswith(after)]
    if len(meant or ages) != 1:
        said = ages[0].split()[0]
        raise WrongValue(
            f"'{said}': say {' or '.join(ages)}", of="answer", found=said, choices=ages
        )
    return (meant or ages)[0]


def read_shot(
    record: ShotRecord, drops: int, beam: Beam | None, valves: Collection[str] | None = None
) -> Shot | None:
    """What a shot's record shows; None if no flash fired or fewer than `drops` openings of `valves` did.

    `beam`: the one that saw the drops. `valves`: those whose drops are asked about; all when left out.
    """
    hz = record.clock_hz
    asked = (edge for edge in record.edges if valves is None or edge.what in valves)
    opened = find_times(asked, SignalKind.VALVE)[:drops]
    flashes = find_times(record.edges, SignalKind.FLASH)
    if not opened or len(opened) < drops or not flashes:
        return None
    start = opened[0]
    seen = (
        [] if beam is None else _find_drops(list_dark(record, beam.input, start), drops, beam.edge)
    )
    return Shot(
        times_s=tuple((ticks - start) / hz for ticks in opened),
        flash_s=(flashes[0] - start) / hz,
        edges_s=tuple(_find_counted(one, beam.edge) for one in seen) if beam else (),
        dwells_s=tuple(one.length for one in seen),
    )


def read_last_drop(record: ShotRecord, beam: Beam, valve: str) -> Shot | None:
    """The last drop of a record in which only drops of `valve` fell, as a shot without a picture.

    None if the beam did not see as many drops as openings, or missed an end of the last one.
    """
    opened = find_times((one for one in record.edges if one.what == valve), SignalKind.VALVE)
    if not opened:
        return None
    dark = list_dark(record, beam.input, opened[-1])
    last = dark[-1] if len(dark) == len(opened) else None
    edge = None if last is None else _find_counted(last, beam.edge)
    if last is None or edge is None or edge <= 0.0 or last.length is None:
        return None
    return Shot((0.0,), edge, (edge,), (last.length,))


def _find_drops(dark: list[Pulse], drops: int, edge: str) -> list[Pulse]:
    """The pulses of that many drops, in order; a lost edge does not move the drops that follow."""
    doubtful = [one for one in dark if one.start is None or _find_counted(one, edge) is None]
    # More pulses than drops: these did not come from a drop, as when the beam was dark before the record.
    surplus = doubtful[: max(0, len(dark) - drops)]
    return [one for one in dark if one not in surplus][:drops]


def _find_counted(dark: Pulse, edge: str) -> float | None:
    return dark.start if edge == "dark" else dark.end


def list_dark(record: ShotRecord, beam: str, since: int = 0) -> list[Pulse]:
    """When drops kept a beam dark, satellites left out, in s from the tick `since`."""
    pulses = read_pulses(
        ((edge.ticks - since) / record.clock_hz, edge.edge == "dark")
        for edge in record.edges
        if edge.what == beam and edge.ticks is not None
    )
    usual_s = find_usual_dwell(pulses)
    return [one for one in pulses if not is_satellite(one, usual_s)]


def say_useless(record: ShotRecord, shot: Shot, *, sees_light: bool = True) -> str | None:
    """Why the picture of a fired shot gives no information about the rig, as far as the board knows; None if it does.

    `sees_light`: a flash-seen sensor is fitted (`[fitted] flash_seen` of the rig file).
    """
    first = shot.find_edge(1)
    if record.anchor_beam is not None and first is not None and first < 0.0:
        return (
            f"{record.anchor_beam} turned {record.anchor_edge} before the valve opened: "
            "the flash followed something other than the drops"
        )
    lit = any(edge.kind is SignalKind.LIGHT and edge.ticks is not None for edge in record.edges)
    if not lit:
        for remark in find_remarks(record, sees_light=sees_light):
            if remark.oddity is Oddity.DARK:
                return remark.text
    return None
