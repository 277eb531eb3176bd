"""Which part of the host library may import which. DEVELOPERS.md explains the layers; this file enforces them."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2] / "host" / "beamfall"

# Each part, from the bottom up, and the parts above the common ones that it may import.
COMMON = {
    "arrays",
    "errors",
    "files",
    "interrupts",
    "places",
    "resources",
    "scratch",
    "text",
    "wire",
}
ARROWS: dict[str, set[str]] = {
    **{name: set() for name in COMMON},
    "link": set(),
    "setup": {"link"},
    "physics": set(),
    "sim": {"link", "setup", "physics"},
    "ports": {"link", "setup"},
    "events": {"link", "setup"},
    "board_values": set(),
    "board_session": {"link", "setup", "events", "board_values"},
    "board": {"ports", "link", "setup", "events", "board_values", "board_session"},
    "board_tools": {"plot", "shots", "board", "events", "ports", "link", "setup"},
    "shots": {"events", "ports", "link", "setup"},
    "photos": {"shots", "ports", "physics", "link", "setup"},
    "planning": {"physics", "setup", "shots", "board", "events"},
    "handbook": {"setup"},
    "guide": {"planning", "physics", "setup"},
    "recipes": {"planning", "physics", "photos", "shots", "setup"},
    "repeatability": {"planning", "physics", "shots", "setup"},
    "faults": {"planning", "physics", "shots", "board", "events", "setup"},
    "plot": {"planning", "repeatability", "shots", "events", "setup"},
    "report": {"plot", "photos", "repeatability", "shots", "setup"},
}
_LIBRARY = {*ARROWS} - {"sim", "board_tools"}
ARROWS["fault_report"] = set()
ARROWS["examples"] = {*_LIBRARY, "workflows"}
ARROWS["workflows"] = set(_LIBRARY)
ARROWS["page"] = {*_LIBRARY, "workflows", "fault_report"}
ARROWS["cli"] = {*_LIBRARY, "workflows", "page", "board_tools", "fault_report"}
ARROWS["__main__"] = {"cli"}

# Single arrows against the rule, each with its reason. One that is no longer there fails the test.
EXCEPTIONS = {
    ("beamfall.board_tools.double.coupling", "sim"): "two simulated boards, wired pin to pin",
    ("beamfall.board_tools.double.drops", "sim"): "the double plays the simulated rig's drops",
    ("beamfall.board_tools.double.run", "sim"): "the double plays the simulated rig's drops",
    ("beamfall.sim.build", "planning"): "the truth is drawn from the planner's unknowns",
    ("beamfall.shots.repeat", "repeatability"): "one formula of statistics",
}

# Libraries that take so long to load that a command pays for them only where it uses them.
SLOW = {
    "construct", "cryptography", "cv2", "exifread", "gphoto2", "lxml", "markdown_it", "matplotlib",
    "numpy", "PIL", "pint", "platformdirs", "pyarrow", "rich", "scipy", "segno", "serial", "starlette",
    "tomlkit", "uvicorn", "watchfiles",
}  # fmt: skip
# Modules that some systems lack.
ABSENT = {"resource"}
# How many imports inside functions, of what is quick to load, each part may still have.
QUICK_INSIDE = {"cli": 3, "__main__": 1}


@dataclass(frozen=True)
class Import:
    """One import: of which modules, inside a function or not, for type checkers alone or not."""

    targets: tuple[str, ...]
    line: int
    inside: bool
    typing: bool


@cache
def list_modules() -> dict[str, Path]:
    found = {}
    for file in sorted(ROOT.rglob("*.py")):
        parts = file.relative_to(ROOT.parent).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = file
    return found


@cache
def read_imports(module: str) -> tuple[Import, ...]:
    tree = ast.parse(list_modules()[module].read_text(encoding="utf-8"))
    return tuple(_walk(tree, inside=False, typing=False))


def _walk(node: ast.AST, *, inside: bool, typing: bool) -> Iterator[Import]:
    if isinstance(node, (ast.Import, ast.ImportFrom)):
        yield Import(tuple(_targets(node)), node.lineno, inside, typing)
    elif isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
        for child in node.body:
            yield from _walk(child, inside=inside, typing=True)
        for child in node.orelse:
            yield from _walk(child, inside=inside, typing=typing)
    else:
        inside = inside or isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef))
        for child in ast.iter_child_nodes(node):
            if not isinstance(child, ast.expr):  # nothing is imported within an expression
                yield from _walk(child, inside=inside, typing=typing)


def _targets(node: ast.Import | ast.ImportFrom) -> Iterator[str]:
    if isinstance(node, ast.Import):
        yield from (alias.name for alias in node.names)
        return
    for alias in node.names:
        whole = f"{node.module}.{alias.name}"
        yield whole if whole in list_modules() else str(node.module)


def find_part(module: str) -> str:
    """The part of the library that a module belongs to; `beamfall` itself for its version."""
    return module.split(".")[1] if "." in module else module


def find_circles(edges: dict[str, set[str]]) -> list[list[str]]:
    """The groups of modules that can all reach each other."""

    @cache
    def reach(start: str) -> frozenset[str]:
        seen: set[str] = set()
        ahead = [start]
        while ahead:
            new = edges.get(ahead.pop(), set()) - seen
            seen |= new
            ahead += new
        return frozenset(seen)

    groups = {
        tuple(sorted(other for other in reach(one) if one in reach(other)))
        for one in edges
        if one in reach(one)
    }
    return [list(group) for group in sorted(groups)]


def find_edges(*, inside: bool, typing: bool) -> dict[str, set[str]]:
    modules = list_modules()
    return {
        module: {
            target
            for one in read_imports(module)
            if (inside or not one.inside) and (typing or not one.typing)
            for target in one.targets
            if target in modules and target != module
        }
        for module in modules
    }


@cache
def find_slow() -> frozenset[str]:
    """The modules that load a slow library as soon as they are imported."""
    edges = find_edges(inside=False, typing=False)
    slow = {
        module
        for module in list_modules()
        for one in read_imports(module)
        if not one.inside and not one.typing and _loads_slow(one.targets)
    }
    while more := {module for module in edges if module not in slow and edges[module] & slow}:
        slow |= more
    return frozenset(slow)


def _loads_slow(targets: Iterable[str]) -> bool:
    return any(target.split(".")[0] in SLOW | ABSENT for target in targets)


def test_every_part_of_the_library_has_its_place() -> None:
    assert {find_part(module) for module in list_modules()} - {"beamfall"} == set(ARROWS)


def test_imports_follow_the_layers() -> None:
    wrong = []
    for module in list_modules():
        part = find_part(module)
        for one in read_imports(module):
            for target in one.targets:
                to = find_part(target)
                if not target.startswith("beamfall.") or to == part:
                    continue
                if to not in ARROWS[part] | COMMON and (module, to) not in EXCEPTIONS:
                    wrong.append(f"{module}:{one.line} imports {target}")
    assert wrong == []


def test_the_layers_have_no_circle() -> None:
    assert find_circles(ARROWS) == []


def test_exceptions_are_all_needed() -> None:
    used = {
        (module, find_part(target))
        for module in list_modules()
        for one in read_imports(module)
        for target in one.targets
        if target.startswith("beamfall.")
    }
    assert set(EXCEPTIONS) <= used


def test_only_the_port_registry_names_the_simulation() -> None:
    """The registry imports the module by its name, when a simulated port is opened."""
    named = [
        module
        for module, file in list_modules().items()
        if find_part(module) != "sim"
        and (module, "sim") not in EXCEPTIONS
        and "beamfall.sim" in file.read_text(encoding="utf-8")
    ]
    assert named == ["beamfall.ports"]


def test_no_part_reads_the_simulation_out_of_the_name_of_a_port() -> None:
    """A board says it with `traits.brings_rig`, a shot with `LoggedShot.is_simulated`."""
    asked = [
        module
        for module, file in list_modules().items()
        if find_part(module) not in ("sim", "ports")
        and re.search(r"""startswith\(\(?\s*["']sim""", file.read_text(encoding="utf-8"))
    ]
    assert asked == []


@pytest.mark.parametrize(
    ("inside", "typing"), [(False, False), (True, False), (True, True)], ids=["top", "inside", "types"]
)  # fmt: skip
def test_no_module_imports_itself_by_a_detour(inside: bool, typing: bool) -> None:
    assert find_circles(find_edges(inside=inside, typing=typing)) == []


def test_what_loads_quickly_is_imported_at_the_top() -> None:
    counts: dict[str, list[str]] = {}
    for module in list_modules():
        for one in read_imports(module):
            if not one.inside or _loads_slow(one.targets) or find_slow() & set(one.targets):
                continue
            counts.setdefault(find_part(module), []).append(f"{module}:{one.line} {one.targets}")
    over = {part: found for part, found in counts.items() if len(found) > QUICK_INSIDE.get(part, 0)}
    assert over == {}
