"""The generic port's promises on three kinds of boards in virtual time, under CPython and MicroPython."""

from __future__ import annotations

import functools
import gc
import importlib
import os
import subprocess
import sys
from pathlib import Path

import pytest
from needs import need_micropython
from tiers import in_full

HERE = Path(__file__).parent
FIRMWARE = HERE.parents[2] / "firmware"
sys.path.insert(0, str(HERE))

import scenarios  # noqa: E402
from fake_board import Console, Profile, load_port  # noqa: E402
from fake_world import MS, World  # noqa: E402

KINDS = ("rp2", "stm32", "esp32")
NAMES = [
    name
    for name, value in scenarios.ALL.items()
    if getattr(value, "__module__", "").startswith("scenarios_") and name[0].islower()
]


def test_there_are_scenarios() -> None:
    assert len(NAMES) >= 14


@pytest.mark.full  # quick: the same under MicroPython
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", NAMES)
def test_under_cpython(name: str, kind: str) -> None:
    scenarios.ALL[name](kind)


@functools.cache
def ask_micropython(kind: str) -> str:
    """What the interpreter says about all scenarios on this kind of board; it runs once for each kind."""
    need_micropython()
    done = subprocess.run(
        [sys.executable, "-m", "micropython_unix", str(HERE / "scenarios.py"), kind, *NAMES],
        env=dict(os.environ, MICROPYPATH=f"{HERE}:{FIRMWARE}:.frozen"),
        capture_output=True,
        text=True,
        timeout=300,
    )
    return done.stdout + done.stderr


@pytest.mark.parametrize("kind", [KINDS[0], *in_full(*KINDS[1:])])
@pytest.mark.parametrize("name", NAMES)
def test_under_micropython_with_the_heap_locked_in_interrupts(name: str, kind: str) -> None:
    said = ask_micropython(kind)
    assert f"holds: {name}\n" in said, said[-3000:]


def test_a_board_with_no_timer_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match="timer"):
        load_port(World("none"))(Profile(), Console())


@pytest.mark.parametrize("kind", KINDS)
def test_garbage_is_not_collected_while_the_port_measures_itself(
    kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A collection then would make the board refuse rows until its next start."""
    world = World(kind)
    make = load_port(world)
    plain = make(Profile(), Console())
    rows = importlib.import_module("ports.generic.ready").ReadyRows
    rehearse, play = rows.rehearse, rows.play
    is_due = False

    def collect() -> None:
        nonlocal is_due
        if is_due:
            is_due = False
            world.spend(15 * MS)

    def rehearse_with_garbage(self: object, times: int) -> int:
        nonlocal is_due
        is_due = True
        return rehearse(self, times)

    def play_in_new_memory(self: object, now: int) -> None:
        collect()
        play(self, now)

    monkeypatch.setattr(gc, "collect", collect)
    monkeypatch.setattr(rows, "rehearse", rehearse_with_garbage)
    monkeypatch.setattr(rows, "play", play_in_new_memory)
    port = make(Profile(), Console())
    assert port.earliest_ticks < plain.earliest_ticks + 100
    assert port.earliest_beam_ticks < plain.earliest_beam_ticks + 100


PROFILES = ("esp32_generic", "stm32_generic", "pico_generic")


@pytest.mark.parametrize("name", [PROFILES[-1], *in_full(*PROFILES[:-1])])
def test_the_profiles_are_whole_and_load_the_port_on_a_board(name: str) -> None:
    from beamfall.setup.board_profiles import check_profile, find_profile

    check_profile(find_profile(name))
    profile = importlib.import_module(f"boards.{name}")
    assert find_profile(name).name == profile.NAME
    kind = {"esp32_generic": "esp32", "stm32_generic": "stm32", "pico_generic": "rp2"}[name]
    port = load_port(World(kind))(profile, Console())
    assert port.earliest_beam_ticks >= profile.EARLIEST_BEAM_US
    # Every input of an STM32 needs an interrupt line of its own; the pyboard's pins by the chip's names are in
    # MicroPython 1.28, ports/stm32/boards/PYBV11/pins.csv: Y5 to Y8 are PB12 to PB15.
    assert len({place[0] for place in profile.INPUTS.values()}) == len(profile.INPUTS)
