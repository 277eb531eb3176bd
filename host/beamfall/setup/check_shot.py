"""Checks that the [[drop]], [[firing]] and [[bottle]] tables of a rig file fit its valves, beams, flashes and aim."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from beamfall.errors import KeyProblem
from beamfall.setup.rig_sections import Beam, Bottle, Flash, Valve
from beamfall.setup.rig_shot import DropInRig, Firing


def miss_part(key: str, found: str, part: str, known: Iterable[str]) -> KeyProblem:
    """The problem of a key that names a valve, beam or flash which the rig does not have."""
    text = f"{key} = '{found}': the rig has no such {part}; add a [[{part}]]"
    return KeyProblem(key, found, " or ".join(known), text)


def check_drops(
    drops: tuple[DropInRig, ...], valves: tuple[Valve, ...], kind: str, aim: Mapping[str, Any]
) -> Iterator[KeyProblem]:
    """Check that [[drop]] tables fit the valves and the aim; `aim` has the keys as written in the file."""
    if not drops:
        return
    count = len(drops)
    if aim.get("drops", count) != count:
        yield KeyProblem(
            "aim.drops", aim["drops"], f"{count}",
            f"aim.drops = {aim['drops']}: the file has {count} [[drop]]; remove aim.drops",
        )  # fmt: skip
    if "spacing" in aim and count > 1 and drops[1].at_s is not None:
        yield KeyProblem(
            "aim.spacing", aim["spacing"], "one of the two",
            "aim.spacing and drop[2].at both set opening 2; remove one",
        )  # fmt: skip
    if kind == "collision" and count < 2:
        yield KeyProblem(
            "drop", count, "two or more [[drop]]",
            "drop: a collision takes at least two; add a [[drop]], or set aim.kind",
        )  # fmt: skip
    outputs = [valve.output for valve in valves]
    for place, drop in enumerate(drops, 1):
        if drop.valve is not None and drop.valve not in outputs:
            yield miss_part(f"drop[{place}].valve", drop.valve, "valve", outputs)
    if drops[0].at_s:
        yield KeyProblem(
            "drop[1].at", drops[0].at_s, "nothing, or 0 ms",
            "drop[1].at: times count from opening 1; leave it out",
        )  # fmt: skip


def check_firings(
    firings: tuple[Firing, ...], fitted: tuple[Flash, ...], beams: tuple[Beam, ...]
) -> Iterator[KeyProblem]:
    """Check that [[firing]] tables fit flashes and beams, and leave each flash time to recycle."""
    flashes = {flash.output: flash for flash in fitted}
    anchors = ("release", *(beam.input for beam in beams))
    last: dict[tuple[object, ...], float] = {}  # flash and what it follows -> when it fired
    timed = sorted(enumerate(firings, 1), key=lambda pair: pair[1].delay_s or pair[1].after_s)
    for place, firing in timed:
        path = f"firing[{place}]"
        flash = flashes.get(firing.flash)
        if flash is None:
            yield miss_part(f"{path}.flash", firing.flash, "flash", flashes)
            continue
        if firing.anchor is not None and firing.anchor not in anchors:
            yield miss_part(f"{path}.anchor", firing.anchor, "beam", anchors)
        elif firing.anchor is not None and (
            firing.delay_s is None or (firing.anchor == "release") == bool(firing.anchor_count)
        ):
            yield KeyProblem(
                f"{path}.anchor", firing.anchor, "a delay, and for a beam anchor_count",
                f"{path}.anchor: it needs a delay; a beam also needs anchor_count, from 1; the release takes none",
            )  # fmt: skip
        follows = (firing.flash, firing.delay_s is None, firing.anchor, firing.anchor_count)
        at = firing.after_s if firing.delay_s is None else firing.delay_s
        gap = at - last.get(follows, float("-inf"))
        if gap < flash.recycle_s:
            yield KeyProblem(
                path, at, f"{flash.recycle_s * 1e3:.4g} ms or more after the one before",
                f"{path}: {firing.flash} fires again after {gap * 1e3:.4g} ms but needs {flash.recycle_s * 1e3:.4g} ms "
                "to recycle; use another flash, or set its recycle if it is faster at this power",
            )  # fmt: skip
        last[follows] = at


def check_bottles(bottles: tuple[Bottle, ...], valves: tuple[Valve, ...]) -> Iterator[KeyProblem]:
    """Check that each [[bottle]] feeds a valve of the rig."""
    outputs = [valve.output for valve in valves]
    for place, bottle in enumerate(bottles, 1):
        if bottle.valve not in outputs:
            yield miss_part(f"bottle[{place}].valve", bottle.valve, "valve", outputs)
