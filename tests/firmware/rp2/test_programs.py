"""One source: the words that the firmware loads are what an assembler makes of programs.pio, and they fit."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from needs import need_module

SOURCE = Path(__file__).resolve().parents[3] / "firmware" / "ports" / "rp2" / "programs.pio"


PIOASM = (
    "pip install adafruit-circuitpython-pioasm, which needs packages without a wheel for Windows"
)


def assemble(zero: int, span: int) -> dict[str, Any]:
    # The package adafruit-circuitpython-pioasm: an independent assembler.
    pioasm = need_module("adafruit_pioasm", PIOASM)
    text = SOURCE.read_text().replace("ZERO", str(zero)).replace("SPAN", str(span))
    parts = re.split(r"(?m)^(?=\.program)", text)[1:]
    return {part.split()[1]: pioasm.Program(part) for part in parts}


@pytest.mark.parametrize(("zero", "span"), [(20, 12), (0, 1), (29, 16)])
def test_words_are_the_assembled_source(bench: Any, zero: int, span: int) -> None:
    programs = bench.module.programs
    made = assemble(zero, span)
    assert set(made) == {"timeline", "follower", "stamper", "qualifier"}
    for name, program in made.items():
        ours = getattr(programs, name.upper())
        assert programs.place(ours, 0, zero, span) == list(program.assembled), name
        assert ours[programs.WRAP_TARGET] == program.pio_kwargs["wrap_target"], name
        assert ours[programs.WRAP] == program.pio_kwargs["wrap"], name


def test_single_instructions_are_the_assembled_ones(bench: Any) -> None:
    pioasm = need_module("adafruit_pioasm", PIOASM)
    programs = bench.module.programs
    expected = {
        "nop": programs.NOP,
        "pull noblock": programs.PULL,
        "wait 1 irq 7": programs.WAIT_FOREVER,
        "set pins, 0": programs.SET_PINS_0,
        "set pindirs, 31": programs.SET_DIRECTIONS_OUT,
        "mov y, osr": programs.MOV_Y_OSR,
        "mov osr, null": programs.MOV_OSR_NULL,
        "mov isr, null": programs.MOV_ISR_NULL,
        "mov x, ~null": programs.MOV_X_ONES,
        "wait 1 gpio 21": programs.wait_gpio(1, 21),
        "wait 0 gpio 3": programs.wait_gpio(0, 3),
        "jmp 9": programs.jump(9),
    }
    for text, word in expected.items():
        assert list(pioasm.Program(f".program one\n{text}\n").assembled) == [word], text


def test_programs_fit_their_blocks(bench: Any) -> None:
    """32 words and 4 machines a block, 12 DMA channels (RP2040 datasheet)."""
    port, programs = bench.module, bench.module.programs
    timeline, follower = programs.TIMELINE[0], programs.FOLLOWER[0]
    stamper, qualifier = programs.STAMPER[0], programs.QUALIFIER[0]
    assert len(timeline) <= port._FOLLOWER_ORIGIN
    assert len(stamper) <= port._QUALIFIER_ORIGIN
    assert port._FOLLOWER_ORIGIN + len(follower) <= 32
    assert port._QUALIFIER_ORIGIN + len(qualifier) <= 32
    # The budget of firmware/ports/rp2/README.md.
    assert [len(p) for p in (timeline, follower, stamper, qualifier)] == [4, 7, 12, 11]
    channels = [*bench.port._feeds, *bench.port._counters, bench.port._stamps.channel]
    assert len({channel._dma.channel for channel in channels}) == 7


def test_the_compiled_reader_knows_the_stampers_cycles(bench: Any) -> None:
    import ports.rp2.stamps as stamps

    programs = bench.module.programs
    assert (stamps._ROUND, stamps._EVENT) == (programs.STAMPER_ROUND, programs.STAMPER_EVENT)
    assert stamps._RING_MASK == stamps.RING_WORDS - 1
    assert stamps._COUNT_MAX == bench.module.reg.DMA_COUNT_MAX
    assert 4 * stamps.RING_WORDS == 1 << stamps._RING_BITS
