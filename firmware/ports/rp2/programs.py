"""The PIO programs as words, made from programs.pio by an assembler and compared with it in the tests.

`place` fits a program to its place in the instruction memory and to the pins of a profile. Instructions that the
port executes or feeds as data are made here too, so that this file alone knows how an instruction is written.
"""

WORDS = 0
WRAP_TARGET = 1
WRAP = 2
ZERO_AT = 3  # index of the word that waits for the common zero's GPIO, -1: none
SPAN_AT = 4  # index of the word that takes the stamped pins, -1: none

# words, wrap target, wrap, zero, span
TIMELINE = ((0x2080, 0x6005, 0x603B, 0x0043), 1, 3, 0, -1)
FOLLOWER = ((0x6020, 0x0041, 0xE001, 0x6020, 0x0044, 0xE000, 0x60F0), 6, 6, -1, -1)
STAMPER = (
    (0xE001, 0xA041, 0x8000, 0xA0C7, 0x8000, 0xA027, 0x0047, 0xA0E1, 0xA0C3, 0x4001, 0xA026, 0x00A1),
    5, 11, -1, 9,
)  # fmt: skip
QUALIFIER = (
    (0x2020, 0x20A0, 0xA022, 0x00C5, 0x0001, 0x0043, 0xE001, 0x8000, 0xA027, 0x0049, 0xE000),
    0, 10, -1, -1,
)  # fmt: skip

TIMELINE_PINS = 5  # bits of a timeline word that are levels; the other 27 are a time
FOLLOWER_GO = 0  # where the follower's `go` and its only resting place lie in the program
FOLLOWER_REST = 6

# Cycles, counted from the programs; see README.md. SYNC stands for the two flip-flops at every input of a PIO.
SYNC = 2
TIMELINE_FIRST = 5  # + SYNC: ticks of the first change when its count is 0
TIMELINE_NEXT = 3  # ticks from one change to the next when its count is 0
FOLLOWER_RELEASE = 6  # + SYNC: delay from the zero when its count is 0
FOLLOWER_BEAM = 11  # + 2 SYNC + 2 per dwell count: delay from the beam's edge when its count is 0
FOLLOWER_AGAIN = 7  # ticks from off to the next on at the same anchor when its count is 0
FOLLOWER_WIDTH = 3  # width when its count is 0
QUALIFIER_DWELL = 2  # the dwell that a count of 0 makes sure of; each count adds 2
QUALIFIER_BLANKING = 10  # + 2 per dwell count: the blanking when its count is 0
STAMPER_FIRST = 9  # cycle of the first look at the pins, counted from the zero's own instruction
STAMPER_ROUND = 7  # cycles between two looks
STAMPER_EVENT = 4  # more cycles if an event is written

_NOT_JMP = 0xE000

NOP = 0xA042
PULL = 0x8080
WAIT_FOREVER = 0x20C7  # for interrupt flag 7, which nothing ever raises
SET_PINS_0 = 0xE000
SET_DIRECTIONS_OUT = 0xE09F
MOV_Y_OSR = 0xA047
MOV_OSR_NULL = 0xA0E3
MOV_ISR_NULL = 0xA0C3
MOV_X_ONES = 0xA02B


def jump(address):
    return address


def wait_gpio(level, gpio):
    return 0x2000 | level << 7 | gpio


def place(program, origin, zero, span):
    """Return the program's words as they are in the instruction memory from `origin` on."""
    words = list(program[WORDS])
    for i in range(len(words)):
        if not words[i] & _NOT_JMP:
            words[i] += origin
    if program[ZERO_AT] >= 0:
        words[program[ZERO_AT]] |= zero
    if program[SPAN_AT] >= 0:
        words[program[SPAN_AT]] = (words[program[SPAN_AT]] & ~0x1F) | (span & 0x1F)
    return words
