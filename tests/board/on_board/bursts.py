"""main.py of an emulated board: how many beam edges the rp2 port delivers while the CPU is kept busy. Prints one line.

`python tests/board/bursts.py` stages and runs it; edges come in bursts of 200 at 50 kHz, 20 ms apart."""

import gc
import struct
import time

from selected_board import NAME

from ports.rp2.port import Port

WANTED = 0  # set by the runner
ROOM = 128

port = Port(getattr(__import__("boards." + NAME), NAME))
records = bytearray(6 * ROOM)
port.watch(True)
seen = 0
disorder = 0
last = 0
rounds = 0
quiet_since = time.ticks_ms()
while True:
    port.poll()
    taken = port.take_edges(records, 0, ROOM)
    for i in range(0, taken, 16):  # order is looked at where it is cheap
        (ticks,) = struct.unpack_from("<I", records, 6 * i + 2)
        if ticks < last and last - ticks < 1 << 29:
            disorder += 1
        last = ticks
    seen += taken
    if taken:
        quiet_since = time.ticks_ms()
    # Busy: garbage made and collected, as a host's flood of requests would.
    junk = [bytes(60) for _ in range(10)]
    rounds += 1
    if rounds % 4 == 0:
        gc.collect()
    if seen and time.ticks_diff(time.ticks_ms(), quiet_since) > 200:
        break
port.stop()
print(
    "bursts: sent",
    WANTED,
    "seen",
    seen,
    "lost",
    port.edges_lost,
    "out of order",
    disorder,
    "collections",
    rounds // 4,
)
