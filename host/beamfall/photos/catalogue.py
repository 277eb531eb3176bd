"""Shots and photo catalogues: writes what the log knows into XMP, and reads ratings and keywords back."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from beamfall.errors import FileWriteError, PictureError
from beamfall.files import write_bytes
from beamfall.photos.xmp import DC, OURS, XMP, Packet, find_sidecar, read_embedded, read_file
from beamfall.setup.rig import Rig
from beamfall.shots import LoggedShot, ShotLog, ShotRecord

_ALWAYS = "Beamfall"  # a keyword of every picture


@dataclass(frozen=True, slots=True)
class Exchanged:
    """What was exchanged for one shot. `rating` and `keywords`: read from the catalogue, None if unchanged.

    `overruled`: the log's own rating, changed since the last exchange, that the catalogue's has replaced.
    """

    shot: int
    sidecar: Path
    rating: int | None = None
    has_rating: bool = False
    keywords: tuple[str, ...] | None = None
    overruled: int | None = None


def exchange(log: ShotLog, shot: int) -> Exchanged:
    """Read a catalogue's rating and keywords of a shot's picture into the log, then write its sidecar.

    A rating changed on both sides is the catalogue's. What other programs keep in a sidecar stays. Raises PictureError
    where a sidecar cannot be read, FileWriteError where it cannot be written; then nothing of the shot has changed.
    """
    logged = log.read_shot(shot)
    record = logged.record
    assert record.picture is not None, "only shots with a picture have a sidecar"
    picture = Path(record.picture)
    file = find_sidecar(picture)
    ours = read_file(file)
    packets = [one for one in (ours, read_embedded(picture)) if one is not None]
    packet = ours or Packet.make()
    written = _read_rating(packet.get(OURS, "Rating"))
    rating, has_rating, overruled = record.rating, False, None
    for one in packets:
        given = one.get(XMP, "Rating")
        if given is not None and _read_rating(given) != written:
            rating, has_rating = _read_rating(given), True
            if record.rating not in (written, rating):
                overruled = record.rating
            break
    earlier = set(packet.items(OURS, "Keywords")) | set(_make_keywords(logged))
    given_words = dict.fromkeys(word for one in packets for word in one.items(DC, "subject"))
    keywords = tuple(word for word in given_words if word and word not in earlier)
    fill(packet, logged, rating=rating, keywords=keywords)
    write_bytes(file, packet.write())
    changed = keywords != tuple(record.keywords or ())
    if has_rating and rating != record.rating:
        log.set_rating(shot, rating)
    if changed:
        log.set_keywords(shot, keywords)
    return Exchanged(shot, file, rating, has_rating, keywords if changed else None, overruled)


@dataclass(frozen=True, slots=True)
class ExchangedAll:
    """What was exchanged for many shots, and what failed, in words."""

    done: tuple[Exchanged, ...]
    problems: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "sidecars": [str(one.sidecar) for one in self.done],
            "ratings": {one.shot: one.rating for one in self.done if one.has_rating},
            "keywords": {one.shot: one.keywords for one in self.done if one.keywords is not None},
            "problems": list(self.problems),
        }


def exchange_all(log: ShotLog, shots: Iterable[int]) -> ExchangedAll:
    """Exchange each of these shots that has a picture; a failure does not stop the others."""
    done, problems = [], []
    for shot in shots:
        if log.read_shot(shot).record.picture is None:
            continue
        try:
            done.append(exchange(log, shot))
        except (PictureError, FileWriteError) as error:
            problems.append(f"shot {shot}: {error}")
    return ExchangedAll(tuple(done), tuple(problems))


def is_by_clock(record: ShotRecord) -> bool:
    """Whether a shot's picture was found by the camera's clock, not as it arrived and not by hand."""
    match = record.picture_match
    return match is not None and "offset_s" in match


def fill(
    packet: Packet, logged: LoggedShot, *, rating: int | None, keywords: tuple[str, ...] = ()
) -> None:
    """Put what the log knows about a shot into a packet; NAMESPACE.md lists it."""
    record = logged.record
    own = _make_keywords(logged)
    for name, value in _describe(logged).items():
        packet.set(OURS, name, value)
    if rating is not None:
        packet.set(XMP, "Rating", str(rating))
    elif _read_rating(packet.get(XMP, "Rating")) is not None:
        packet.set(XMP, "Rating", "0")  # 'unrated'; a rejected picture stays rejected
    packet.set(OURS, "Rating", None if rating is None else str(rating))
    packet.set_list(DC, "subject", (*keywords, *own))
    packet.set_list(OURS, "Keywords", own)
    described = packet.get(DC, "description")
    if described in (None, "", packet.get(OURS, "Note")):  # else somebody else has written it
        packet.set_text(DC, "description", record.note or None)
        packet.set(OURS, "Note", record.note or None)


def _describe(logged: LoggedShot) -> dict[str, str | None]:
    record, rig = logged.record, logged.known_rig
    return {
        "Shot": str(record.shot),
        "Series": str(record.series),
        "State": record.shown_state,
        "SpacingMs": _say_ms(record, record.spacing_ticks),
        "DelayMs": _say_ms(record, record.flash_delay_ticks),
        "Anchor": "release"
        if record.anchor_beam is None
        else f"{record.anchor_edge} edge {record.anchor_count} of {record.anchor_beam}",
        "StageMs": _find_stage(logged),
        "Liquid": _say_liquid(rig),
        "Rig": None if rig is None else rig.name or None,
    }


def _find_stage(logged: LoggedShot) -> str | None:
    """Time from the contact of the drops to the light, where a simulated rig knows it."""
    pictures = logged.record.pictures
    stage = pictures[0].get("stage_ms") if pictures else None
    return None if stage is None else f"{stage:.2f}"


def _say_ms(record: ShotRecord, ticks: int | None) -> str | None:
    return None if ticks is None else f"{ticks / record.clock_hz * 1e3:.3f}"


def _say_liquid(rig: Rig | None) -> str | None:
    if rig is None:
        return None
    mixed = ", ".join(f"{name} {share:g}" for name, share in rig.liquid.parts)
    return mixed or rig.liquid.name or None


def _make_keywords(logged: LoggedShot) -> list[str]:
    rig = logged.known_rig
    aim = None if rig is None else rig.aim.kind
    return list(dict.fromkeys(str(word) for word in (_ALWAYS, aim, _say_liquid(rig)) if word))


def _read_rating(text: str | None) -> int | None:
    """A rating of 1 to 5; None if there is none, and for 0 (unrated) and -1 (rejected)."""
    try:
        value = round(float(text or 0))
    except (ValueError, OverflowError):
        return None
    return value if 1 <= value <= 5 else None
