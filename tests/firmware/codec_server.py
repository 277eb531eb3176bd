"""Runs in MicroPython: the firmware's own framing and COBS, asked over standard input, a line at a time.

R <hex>                       bytes into the reader -> the frames found, then good and bad counts
W <message> <session> <number> <hex>   a payload into the writer -> the frame in hex
P <message> <hex>             does a request's payload fit its definition -> 1 or 0
"""

import binascii
import sys

from beamfall_board import wire_definition as wire
from beamfall_board.framing import FrameReader, FrameWriter
from beamfall_board.payloads import payload_fits


def unhex(text):
    return binascii.unhexlify(text)


def hexed(data):
    return binascii.hexlify(data).decode()


def read_frames(data):
    reader = FrameReader()
    found = []
    at = 0
    while at < len(data):
        at += reader.feed(data, at, len(data))
        if reader.ready:
            payload = hexed(bytes(reader.body[wire.HEADER_SIZE : reader.end]))
            head = f"{reader.protocol}:{reader.message}:{reader.session}:{reader.number}"
            found.append(f"{head}:{payload}")
    return f"{reader.good} {reader.bad} {','.join(found)}"


def write_frame(message, session, number, payload):
    writer = FrameWriter()
    writer.body[wire.HEADER_SIZE : wire.HEADER_SIZE + len(payload)] = payload
    writer.close(message, session, number, len(payload))
    return hexed(bytes(writer.encoded[: writer.length]))


def fits(message, payload):
    return "1" if payload_fits(message, bytearray(payload), 0, len(payload)) else "0"


def serve():
    while True:
        line = sys.stdin.readline()
        if not line:
            return
        words = line.rstrip("\n").split(" ")
        if words[0] == "R":
            answer = read_frames(unhex(words[1]))
        elif words[0] == "W":
            answer = write_frame(int(words[1]), int(words[2]), int(words[3]), unhex(words[4]))
        else:
            answer = fits(int(words[1]), unhex(words[2]))
        print(answer)


serve()
