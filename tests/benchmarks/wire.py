"""How long the wire takes on this computer: `python tests/benchmarks/wire.py`. Prints; asserts nothing.

A report of 36 edges is the largest message; construct's two ways stand beside the codec in use.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from beamfall.wire import Framer, Message, encode_frame, get_codec
from beamfall.wire.structures import build_structure


def measure_us(call: Callable[[], object], calls: int = 2000) -> float:
    """The best of five rounds, in microseconds a call."""
    best = float("inf")
    for _ in range(5):
        began = time.perf_counter()
        for _ in range(calls):
            call()
        best = min(best, (time.perf_counter() - began) / calls)
    return best * 1e6


def measure_import_ms(module: str) -> float:
    """The best of five fresh interpreters, less that of one that imports nothing."""
    folder = Path(__file__).parents[2] / "host"

    def run(code: str) -> float:
        began = time.perf_counter()
        subprocess.run([sys.executable, "-c", code], cwd=folder, check=True)
        return time.perf_counter() - began

    return 1e3 * (min(run(f"import {module}") for _ in range(5)) - min(run("") for _ in range(5)))


def main() -> None:
    codec = get_codec()
    edges = [(9, 3, 70_000 * i + 12_345) for i in range(36)]
    fields = {"activity": 1, "release": 7, "base_ticks": 0, "edges": edges}
    message = Message("edges", fields)
    payload = codec.encode(message)
    line = encode_frame(codec.make_frame(message, 5, 6), codec.definition)
    framer = Framer(codec.definition)
    plain = build_structure(codec.definition, "edges")
    print(f"edges, 36 of them: {len(payload)} bytes of payload, {len(line)} on the line")
    print(f"  decode             {measure_us(lambda: codec.decode('edges', payload)):8.1f} us")
    print(f"  encode             {measure_us(lambda: codec.encode(message)):8.1f} us")
    read = measure_us(lambda: codec.decode_frame(framer.feed(line)[0]))  # type: ignore[arg-type]
    print(f"  line to message    {read:8.1f} us")
    write = measure_us(lambda: encode_frame(codec.make_frame(message, 5, 6), codec.definition))
    print(f"  message to line    {write:8.1f} us")
    print(f"  construct, plain   {measure_us(lambda: plain.parse(payload), 200):8.1f} us to parse")
    for module in ("beamfall.wire", "beamfall.link", "construct"):
        print(f"import {module:<13} {measure_import_ms(module):8.1f} ms")


if __name__ == "__main__":
    main()
