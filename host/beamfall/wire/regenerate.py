"""Makes every file generated from messages.toml: `python -m beamfall.wire.regenerate [--check]`.

It writes firmware/beamfall_board/wire_definition.py, protocol/vectors.json and transcripts.json, and the generated
parts of host/beamfall/setup/signals.py, protocol/SPEC.md and beamfall.lua. With --check it writes nothing: it names
the stale files and exits with status 1. It works only in a source checkout.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from beamfall.errors import BeamfallError, ResourceMissing, StaleFiles
from beamfall.resources import find_checkout
from beamfall.wire.definition import load_definition
from beamfall.wire.dissector import render_dissector
from beamfall.wire.firmware_definition import render_firmware_definition
from beamfall.wire.signal_module import render_signal_module
from beamfall.wire.specification import render_specification
from beamfall.wire.transcripts import render_transcripts
from beamfall.wire.vectors import render_vectors


def render_files(top: Path) -> dict[Path, str]:
    """Return the text that each generated file of the checkout `top` should hold."""
    protocol = top / "protocol"
    definition = load_definition(protocol / "messages.toml")
    firmware = top / "firmware" / "beamfall_board" / "wire_definition.py"
    signals = top / "host" / "beamfall" / "setup" / "signals.py"
    specification, dissector = protocol / "SPEC.md", protocol / "beamfall.lua"
    return {
        firmware: render_firmware_definition(definition),
        signals: render_signal_module(definition, signals.read_text("utf-8")),
        specification: render_specification(definition, specification.read_text("utf-8")),
        protocol / "vectors.json": render_vectors(definition),
        protocol / "transcripts.json": render_transcripts(definition),
        dissector: render_dissector(definition, dissector.read_text("utf-8")),
    }


def find_stale(top: Path) -> list[Path]:
    """Return the generated files that are missing or differ from what they should hold."""
    return [
        path
        for path, text in render_files(top).items()
        if not path.is_file() or path.read_text(encoding="utf-8") != text
    ]


def regenerate(top: Path) -> list[Path]:
    """Rewrite the stale files; return which ones were stale."""
    files = render_files(top)
    stale = find_stale(top)
    for path in stale:
        path.write_text(files[path], encoding="utf-8", newline="\n")
    return stale


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; return its exit status."""
    parser = argparse.ArgumentParser(
        prog="python -m beamfall.wire.regenerate",
        description="Make the files that are generated from protocol/messages.toml.",
    )
    parser.add_argument(
        "--check", action="store_true", help="write nothing; fail if a file is stale"
    )
    options = parser.parse_args(arguments)
    try:
        top = find_checkout()
        if top is None:
            raise ResourceMissing(
                "this needs a source checkout with protocol/messages.toml: run pip install -e . in it"
            )
        if options.check:
            stale = find_stale(top)
            if stale:
                names = ", ".join(str(path.relative_to(top)) for path in stale)
                raise StaleFiles(
                    f"stale: {names}; run python -m beamfall.wire.regenerate and commit"
                )
            print("all generated files are up to date")
            return 0
        for path in regenerate(top):
            print(f"wrote {path.relative_to(top)}")
    except BeamfallError as error:
        print(f"error: {error}", file=sys.stderr)
        return error.exit_status
    return 0


if __name__ == "__main__":
    sys.exit(main())
