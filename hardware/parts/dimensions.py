"""Dimensions of the printed parts and of what must fit them, in millimetres. Change them for your rig.

`fits()` compares them; the models in this folder use the same numbers.
"""

from __future__ import annotations

from dataclasses import dataclass

# What is bought. A 5 mm LED: T-1 3/4 package (from memory): body 5.0, flange 5.8 to 5.9, 1 thick, 8.6 high.
LED_BODY = 5.0
LED_FLANGE = 5.9
LED_FLANGE_HIGH = 1.0
LED_HIGH = 8.7
M3_SHANK, M3_HEAD, M3_NUT_HIGH = 3.0, 5.5, 2.4  # ISO 4762, ISO 4032
BAR_WIDE = 20.0  # the strip that carries valve and beam
VALVE_BODY = 22.0  # measure yours: a small direct-acting valve
DISH_WALL = 4.0
FLASH_WIDE, FLASH_HIGH = 78.0, 50.0  # head of a shoe flash; measure yours

# How a printer of 0.4 mm nozzle prints: holes come out small by up to this much across.
FIT = 0.3  # goes in by hand
LOOSE = 0.6  # slides
WALL = 2.0  # least wall


@dataclass(frozen=True)
class BeamHead:
    """A bridge with emitter and receiver facing each other across the drop's path."""

    gap: float = 44.0  # between the tubes' mouths
    tube_long: float = 20.0
    bore: float = LED_BODY + FIT
    flange_bore: float = LED_FLANGE + FIT
    outside: float = 11.0
    slit_high: float = 1.0
    slit_wide: float = 5.0
    slit_wall: float = 1.2
    axis_up: float = 16.0  # axis above the bridge
    bridge_thick: float = 6.0
    depth: float = 20.0


@dataclass(frozen=True)
class ValveBracket:
    """A ring for the valve on a plate that slides and tilts on the bar."""

    ring_bore: float = VALVE_BODY + LOOSE
    ring_wall: float = 4.0
    ring_high: float = 16.0
    reach: float = 40.0
    plate_wide: float = 40.0
    plate_high: float = 50.0
    plate_thick: float = 5.0
    slot_long: float = 24.0  # fine height
    slot_wide: float = M3_SHANK + 0.4
    tilt_degrees: float = 8.0  # half the arc of the lower slot


@dataclass(frozen=True)
class PlumbAid:
    """A plug that hangs a thread in the middle of the nozzle's holder."""

    plug: float = VALVE_BODY - 0.2
    high: float = 12.0
    thread: float = 1.0
    rim: float = VALVE_BODY + 6.0


@dataclass(frozen=True)
class DishLevel:
    """A clip for the dish's wall with a point that just touches the liquid."""

    wall_gap: float = DISH_WALL + FIT
    deep: float = 15.0  # point below the rim
    reach: float = 18.0


@dataclass(frozen=True)
class FlashHood:
    """A hood that keeps splashes off a flash; open below the light, with a sheet of clear plastic in its groove."""

    inside_wide: float = FLASH_WIDE + 2 * LOOSE
    inside_high: float = FLASH_HIGH + 2 * LOOSE
    long: float = 60.0
    groove: float = 1.2  # for a clear sheet of 1 mm
    wall: float = 2.0


@dataclass(frozen=True)
class PanelTemplate:
    """A plate to mark the holes in the case's wall: DC socket, switch, camera jack, button, glands."""

    holes: tuple[tuple[str, float], ...] = (
        ("DC socket", 8.0),
        ("power switch", 6.3),
        ("camera jack", 6.0),
        ("button", 12.0),
        ("gland", 12.0),
        ("gland", 12.0),
        ("gland", 12.0),
    )
    pitch: float = 22.0
    high: float = 34.0
    thick: float = 2.0
    pilot: float = 2.0  # for a centre punch


def fits() -> list[str]:
    """What does not fit; empty is good."""
    head, bracket, plumb, level, hood = (
        BeamHead(),
        ValveBracket(),
        PlumbAid(),
        DishLevel(),
        FlashHood(),
    )
    found = []

    def ask(holds: bool, text: str) -> None:
        if not holds:
            found.append(text)

    ask(
        head.flange_bore >= LED_FLANGE + 0.2,
        f"an LED's flange of {LED_FLANGE} mm does not enter {head.flange_bore} mm",
    )
    ask(
        head.bore >= LED_BODY + 0.2, f"an LED's body of {LED_BODY} mm does not enter {head.bore} mm"
    )
    ask(head.bore < LED_FLANGE, "the bore lets the flange pass: the LED has no stop")
    ask(head.outside - head.flange_bore >= 2 * WALL, "the tube's wall is thinner than 2 mm")
    ask(head.tube_long >= LED_HIGH + 8, "the tube is too short to keep lamp light out")
    ask(head.axis_up - head.outside / 2 >= 8, "drops would hit the bridge: raise the axis")
    ask(head.slit_wide <= head.bore, "the slit is wider than the bore behind it")
    ask(
        35 <= head.gap + 2 * head.slit_wall <= 50,
        "the circuit is checked for emitter and slit at most 50 mm apart",
    )
    ask(bracket.slot_wide >= M3_SHANK + 0.2, "an M3 screw does not slide in the slots")
    ask(bracket.slot_wide <= M3_HEAD - 1.5, "an M3 head pulls through the slots")
    ask(bracket.plate_wide >= BAR_WIDE + 2 * WALL, "the plate is narrower than the bar")
    ask(bracket.ring_bore > VALVE_BODY, "the valve does not enter its ring")
    ask(
        bracket.ring_wall >= M3_NUT_HIGH + 1.2,
        "the ring's wall does not hold a nut for its clamping screw",
    )
    ask(
        plumb.plug < bracket.ring_bore < plumb.rim,
        "the plumb aid falls through the ring, or does not enter it",
    )
    ask(level.wall_gap > DISH_WALL, "the level aid does not fit over the dish's wall")
    ask(
        hood.inside_wide > FLASH_WIDE and hood.inside_high > FLASH_HIGH,
        "the flash does not enter its hood",
    )
    ask(
        hood.wall >= 2 * 0.8 and hood.groove >= 1.1,
        "the hood's clear sheet does not enter its groove",
    )
    return found
