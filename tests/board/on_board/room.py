"""The firmware, which prints on the console how much of its heap is free once everything has started."""

import gc

import main_plain

main_plain.take_ctrl_c()
main_plain.search_only_here()
from beamfall_board.board import Board  # noqa: E402 - importing takes time, and a host may speak meanwhile

_STEPS = 6  # by then every lazy import and buffer is there


def _tell(step=Board.step):
    left = [_STEPS]

    def tell(self):
        step(self)
        left[0] -= 1
        if left[0] == 0:
            _ = self.port.readings  # made when first needed
            gc.collect()
            print(f"free heap {gc.mem_free()} bytes")

    Board.step = tell


_tell()
main_plain.main()
