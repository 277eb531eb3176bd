"""Run by the MicroPython interpreter: corpus inputs, one a line in hex, and what they did, one a line."""

import binascii
import sys

import firmware_targets

tell = firmware_targets.tell_frames if sys.argv[1] == "reader" else firmware_targets.run_board
while True:
    line = sys.stdin.readline()
    if not line:
        break
    print(tell(binascii.unhexlify(line.strip())))
