"""Writing the firmware's files onto a real MicroPython, the interpreter for the desk."""

from __future__ import annotations

import hashlib
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from needs import need_micropython

from beamfall.board import Board
from beamfall.board_tools.bundle import make_bundle
from beamfall.board_tools.errors import InstallError
from beamfall.board_tools.prompt import Prompt
from beamfall.board_tools.writing import put_bundle
from beamfall.setup.board_profiles import find_profile
from beamfall.sim import interpreter as running
from beamfall.wire import get_definition

if sys.platform == "win32":
    pytest.skip("needs pseudo-terminals, which Windows lacks", allow_module_level=True)
need_micropython()

PICO = 4870  # sys.implementation._mpy of MicroPython 1.28 on an RP2040: version 6.3, armv6m


def sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_what_is_installed_on_a_real_interpreter_is_verified_and_runs(
    files: Path, prompt: Prompt, monkeypatch: pytest.MonkeyPatch
) -> None:
    (files / "main.py").write_text("print('a program of my own')\n")
    (files / "notes.txt").write_text("stays")
    (files / "slots").mkdir()
    (files / "slots" / "slot1.bin").write_bytes(b"stays")
    for old in (
        "beamfall_board/board.py",
        "beamfall_board/gone.mpy",
        "ports/old/port.py",
        "boards/pico.py",
    ):
        (files / old).parent.mkdir(parents=True, exist_ok=True)
        (files / old).write_text("raise SystemExit('an earlier version')\n")
        with (files / "beamfall.files").open("a") as listed:
            listed.write(f"{sha256(files / old)}  {old}\n")
    told: list[str] = []
    interpreter = prompt.enter()
    assert (interpreter.name, interpreter.platform) == ("micropython", "linux")
    bundle = make_bundle(find_profile("simulated"), interpreter.mpy)
    assert bundle.compiled and "beamfall_board/board.mpy" in bundle.files
    done = put_bundle(prompt, interpreter, bundle, told.append)
    assert done["moved"] == {"main.py": "main_before_beamfall.py"} and done["kept"] == []
    assert (files / "main_before_beamfall.py").read_text() == "print('a program of my own')\n"
    assert set(done["removed"]) == {
        "beamfall_board/board.py", "beamfall_board/gone.mpy", "ports/old/port.py", "boards/pico.py",
    }  # fmt: skip
    assert not (files / "ports" / "old").exists()
    assert (files / "notes.txt").exists() and (files / "slots" / "slot1.bin").exists()
    # Read from outside: what lies there is what was made, to the byte.
    for path in bundle.files:
        assert sha256(files / path) == bundle.digest(path), path
    assert done["verified"] == len(bundle.files) == len(done["written"])

    again = put_bundle(prompt, interpreter, bundle, told.append)
    assert again["written"] == ["main.py"] and again["removed"] == [] and again["moved"] == {}

    monkeypatch.setattr(running, "find_firmware", lambda: files)
    from beamfall.sim.build import build_rig

    with Board.over(running.MicroPythonTransport(build_rig(None, 5), seed=5)) as board:
        assert board.info.name == "simulated"
        assert board.info.definition == get_definition().digest
        assert board.drip(1, 0.013).done.state.name == "idle"


OWN = {
    "boards/mine.py": "PINS = 'my own board'\n",
    "boards/readme.txt": "how I wired it\n",
    "ports/console.py": "# shadows ports/console.mpy\n",  # x.py is found before x.mpy
    "ports/old/port.py": "# not of Beamfall's\n",
    "beamfall_board/board/__init__.py": "# a folder is found before x.mpy\n",
    "main.py": "print('mine')\n",
    "main_before_beamfall.py": "print('mine, from another time')\n",
    "selected_board.py": "# mine too\n",
}


@pytest.mark.full
def test_files_of_the_users_own_outlive_an_installation(files: Path, prompt: Prompt) -> None:
    """Without a list on the board, nothing there belongs to an installer, whatever folder it is in."""
    for path, content in OWN.items():
        (files / path).parent.mkdir(parents=True, exist_ok=True)
        (files / path).write_text(content)
    interpreter = prompt.enter()
    bundle = make_bundle(find_profile("simulated"), interpreter.mpy)
    done = put_bundle(prompt, interpreter, bundle, lambda text: None)
    assert done["removed"] == []
    assert done["kept"] == ["boards/mine.py", "boards/readme.txt", "ports/old/port.py"]
    assert done["moved"] == {
        "main.py": "main_before_beamfall_2.py",
        "selected_board.py": "selected_board_before_beamfall.py",
        "ports/console.py": "ports/console_before_beamfall.py",
        "beamfall_board/board": "beamfall_board/board_before_beamfall",
    }
    for path, content in OWN.items():
        for old, new in done["moved"].items():
            if path == old or path.startswith(f"{old}/"):
                path = new + path[len(old) :]
                break
        assert (files / path).read_text() == content, path
    for path in bundle.files:
        assert sha256(files / path) == bundle.digest(path), path


@pytest.mark.full
def test_a_profile_changed_on_the_board_is_the_users_own(files: Path, prompt: Prompt) -> None:
    interpreter = prompt.enter()
    bundle = make_bundle(find_profile("simulated"), interpreter.mpy, source_only=True)
    put_bundle(prompt, interpreter, bundle, lambda text: None)
    (files / "boards" / "simulated.py").write_text("# with my own pins\n")
    (files / "main.py").write_text("print('mine')\n")
    done = put_bundle(prompt, interpreter, bundle, lambda text: None)
    assert done["moved"] == {
        "boards/simulated.py": "boards/simulated_before_beamfall.py",
        "main.py": "main_before_beamfall.py",
    }
    assert (files / "boards/simulated_before_beamfall.py").read_text() == "# with my own pins\n"
    # Another version without that profile leaves it, and takes the others away.
    other = replace(bundle, files={"main.py": bundle.files["main.py"]}, folders=[])
    (files / "boards" / "simulated.py").write_text("# with my own pins\n")
    done = put_bundle(prompt, interpreter, other, lambda text: None)
    assert "boards/simulated.py" in done["kept"] and "boards/simulated.py" not in done["removed"]
    assert set(done["removed"]) == bundle.files.keys() - {"main.py", "boards/simulated.py"}


@pytest.mark.full
def test_what_an_installation_cut_short_has_left_is_its_own(
    files: Path, prompt: Prompt, monkeypatch: pytest.MonkeyPatch
) -> None:
    interpreter = prompt.enter()
    bundle = make_bundle(find_profile("simulated"), interpreter.mpy)
    write = Prompt.write_file

    def cut(self: Prompt, path: str, content: bytes) -> None:
        if path.endswith("limits.mpy"):
            write(self, path, content[: len(content) // 2])
            raise InstallError("the cable is out")
        write(self, path, content)

    monkeypatch.setattr(Prompt, "write_file", cut)
    with pytest.raises(InstallError, match="the cable is out"):
        put_bundle(prompt, interpreter, bundle, lambda text: None)
    monkeypatch.setattr(Prompt, "write_file", write)
    # The next one is of another version, in which that file has another name.
    renamed = {path.replace("limits", "bounds"): data for path, data in bundle.files.items()}
    done = put_bundle(prompt, interpreter, replace(bundle, files=renamed), lambda text: None)
    assert done["removed"] == ["beamfall_board/limits.mpy"]
    assert done["moved"] == {} and done["kept"] == []


def test_a_full_board_is_told_before_anything_is_removed(prompt: Prompt, files: Path) -> None:
    (files / "main.py").write_text(
        '"""Starts the board: every output off first, in an earlier version"""\n'
    )
    interpreter = replace(prompt.enter(), free_bytes=20_000)
    with pytest.raises(InstallError) as caught:
        put_bundle(prompt, interpreter, make_bundle(find_profile("pico"), PICO), lambda text: None)
    assert caught.value.free_bytes == 20_000 < (caught.value.needs_bytes or 0)
    assert (files / "main.py").exists()


@pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals, which Windows lacks")
def test_a_board_that_goes_before_its_prompt_is_named_with_the_cure() -> None:
    import os

    import serial

    near, far = os.openpty()
    with serial.Serial(os.ttyname(far), timeout=1.0) as port:
        os.close(near)
        os.close(far)
        with pytest.raises(InstallError) as caught:
            Prompt(port, "board", patience_s=1.0).enter()
    assert isinstance(caught.value.__cause__, OSError)
