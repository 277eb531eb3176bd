"""One PIO block, through its registers: loads programs, sets up machines, executes instructions, starts all at once."""

from machine import mem32

from ports.rp2 import programs
from ports.rp2 import registers as reg

_DRAIN = 5  # four words of a FIFO and one in the shift register


class Block:
    def __init__(self, index):
        base = reg.PIO_BASES[index]
        self.index = index
        self.control = base + reg.CTRL
        self.fifo_status = base + reg.FSTAT
        self.fifo_debug = base + reg.FDEBUG
        self._memory = base + reg.INSTR_MEM0
        self._tx = [base + reg.TXF0 + 4 * i for i in range(4)]
        self._rx = [base + reg.RXF0 + 4 * i for i in range(4)]
        self._exec_control = [base + reg.SM0_EXECCTRL + reg.SM_SIZE * i for i in range(4)]
        self._shift_control = [base + reg.SM0_SHIFTCTRL + reg.SM_SIZE * i for i in range(4)]
        self._pin_control = [base + reg.SM0_PINCTRL + reg.SM_SIZE * i for i in range(4)]
        self._divider = [base + reg.SM0_CLKDIV + reg.SM_SIZE * i for i in range(4)]
        self._instruction = [base + reg.SM0_INSTR + reg.SM_SIZE * i for i in range(4)]
        self.address = [base + reg.SM0_ADDR + reg.SM_SIZE * i for i in range(4)]
        self._origin = [0] * 4
        self._pull = [0] * 4

    def tx_request(self, machine):
        return 8 * self.index + machine

    def rx_request(self, machine):
        return 8 * self.index + 4 + machine

    def tx_address(self, machine):
        return self._tx[machine]

    def rx_address(self, machine):
        return self._rx[machine]

    def write_program(self, program, origin, zero, span):
        words = programs.place(program, origin, zero, span)
        for i in range(len(words)):
            mem32[self._memory + 4 * (origin + i)] = words[i]

    def set_up(self, machine, program, origin, start, autopull, pins, jump_pin=0):
        """Set up what is the same in every shot. `pins` is the machine's PINCTRL; its `set` pins become outputs."""
        mem32[self._divider[machine]] = reg.DIVIDE_BY_1
        mem32[self._exec_control[machine]] = (
            jump_pin << 24
            | (origin + program[programs.WRAP]) << 12
            | (origin + program[programs.WRAP_TARGET]) << 7
        )
        mem32[self._pin_control[machine]] = pins
        mem32[self._shift_control[machine]] = reg.IN_LEFT_OUT_RIGHT
        self._pull[machine] = reg.IN_LEFT_OUT_RIGHT | (reg.AUTOPULL if autopull else 0)
        self._origin[machine] = origin + start
        self.execute(machine, programs.SET_PINS_0)
        self.execute(machine, programs.SET_DIRECTIONS_OUT)

    def execute(self, machine, instruction):
        mem32[self._instruction[machine]] = instruction

    def stop(self):
        mem32[self.control] = 0

    def rewind(self, machine):
        """Take a stopped machine back to its first instruction, with empty FIFOs and shift registers, its pins off."""
        mem32[self._shift_control[machine]] = reg.IN_LEFT_OUT_RIGHT
        instruction = self._instruction[machine]
        for _ in range(_DRAIN):
            mem32[instruction] = programs.PULL
            _ = mem32[self._rx[machine]]
        mem32[instruction] = programs.SET_PINS_0
        mem32[instruction] = programs.MOV_ISR_NULL
        mem32[instruction] = programs.jump(self._origin[machine])

    def feed(self, machine, value):
        mem32[self._tx[machine]] = value

    def take_first_word(self, machine):
        """Move the first waiting word to the shift register; from here on the machine refills it by itself."""
        mem32[self._instruction[machine]] = programs.PULL
        mem32[self._shift_control[machine]] = self._pull[machine]
