"""The firmware under the real MicroPython interpreter: every module, and the promise that a shot allocates nothing."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from needs import need_micropython

HERE = Path(__file__).parent / "interpreter"
FIRMWARE = Path(__file__).resolve().parents[2] / "firmware"

need_micropython()


def run(script: Path) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "micropython_unix", str(script)],
        capture_output=True,
        text=True,
        timeout=60,
        env=dict(os.environ, MICROPYPATH=f"{FIRMWARE}:.frozen"),
    )
    assert done.returncode == 0 and "Traceback" not in done.stdout, done.stdout + done.stderr
    return done.stdout


def test_a_shot_allocates_nothing() -> None:
    assert run(HERE / "no_allocation.py") == "no allocation in 3 shots\n"


def test_the_proof_can_fail(tmp_path: Path) -> None:
    """With one allocation added to the step, the same script must stop with MemoryError."""
    script = tmp_path / "broken.py"
    text = (HERE / "no_allocation.py").read_text()
    script.write_text(
        text.replace(
            "        controller.step()\n\n\nfor",
            "        controller.step()\n        [port.now]\n\n\nfor",
        )
    )
    with pytest.raises(AssertionError, match="MemoryError"):
        run(script)


def test_every_module_of_the_core_imports() -> None:
    modules = sorted(
        path.stem for path in (FIRMWARE / "beamfall_board").glob("*.py") if path.stem != "__init__"
    )
    lines = "".join(f"import beamfall_board.{module}\n" for module in modules)
    script = "-c", lines + "print('ok')"
    done = subprocess.run(
        [sys.executable, "-m", "micropython_unix", *script],
        capture_output=True,
        text=True,
        timeout=60,
        env=dict(os.environ, MICROPYPATH=f"{FIRMWARE}:.frozen"),
    )
    assert done.stdout == "ok\n", done.stdout + done.stderr


def test_no_float_stands_in_the_core() -> None:
    """No float literal, no true division, no call of float() in the code that runs in a shot."""
    import ast

    for path in sorted((FIRMWARE / "beamfall_board").glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            where = f"{path.name}:{getattr(node, 'lineno', 0)}"
            assert not (isinstance(node, ast.Constant) and isinstance(node.value, float)), where
            assert not (isinstance(node, ast.BinOp) and isinstance(node.op, ast.Div)), where
            assert not (isinstance(node, ast.Call) and getattr(node.func, "id", "") == "float"), (
                where
            )
