"""The pins of a profile as the port needs them: masks, pads, functions, overrides."""

from machine import mem32

from beamfall_board import wire_definition as wire
from ports.rp2 import programs
from ports.rp2 import registers as reg

NO_BIT = 255
TIMELINE_SIGNALS = wire.KIND_VALVE + wire.KIND_CAMERA
SPAN_MAX = 16


class Pins:
    """Outputs are driven by the SIO when nothing is under way, by PIO block 0 in a shot."""

    def __init__(self, profile):
        self.chip = chip = reg.Chip(profile.CHIP)
        self._outputs = profile.OUTPUTS
        self._inputs = profile.INPUTS
        stamped = [entry[0] for entry in profile.OUTPUTS.values()] + [
            entry[0] for entry in profile.INPUTS.values()
        ]
        self.base = min(stamped)
        self.span = max(stamped) - self.base + 1
        if self.span > SPAN_MAX:
            raise ValueError("outputs and inputs must lie within %d GPIOs in a row" % SPAN_MAX)
        timeline = [profile.OUTPUTS[s][0] for s in TIMELINE_SIGNALS if s in profile.OUTPUTS]
        self.timeline_base = min(timeline) if timeline else 0
        if timeline and max(timeline) - self.timeline_base >= programs.TIMELINE_PINS:
            raise ValueError(
                "valves and camera contacts must lie within %d GPIOs in a row"
                % programs.TIMELINE_PINS
            )
        for signal in wire.KIND_FLASH:
            if signal in profile.OUTPUTS and timeline:
                if 0 <= profile.OUTPUTS[signal][0] - self.timeline_base < programs.TIMELINE_PINS:
                    raise ValueError(
                        "a flash may not lie among the %d GPIOs of valves and camera"
                        % programs.TIMELINE_PINS
                    )
        self.timeline_bits = bytearray([NO_BIT] * 32)
        for signal in TIMELINE_SIGNALS:
            if signal in profile.OUTPUTS:
                self.timeline_bits[signal] = profile.OUTPUTS[signal][0] - self.timeline_base
        self.zero = profile.ZERO_PIN
        self.marks = bytes(profile.MARK_PINS)
        self.invert = 0  # stamped bits that read 1 when the line is off or clear
        self._off_low = 0
        self._off_high = 0
        for signal in profile.OUTPUTS:
            pin, active_high = profile.OUTPUTS[signal]
            if active_high:
                self._off_low |= 1 << pin
            else:
                self._off_high |= 1 << pin
                self.invert |= 1 << pin - self.base
            self._set_pad(pin, "down" if active_high else "up")
        for signal in profile.INPUTS:
            pin, level_high, pull = profile.INPUTS[signal]
            if not level_high:
                self.invert |= 1 << pin - self.base
            self._set_pad(pin, pull)
        for pin in (self.zero,) + tuple(self.marks):
            self._set_pad(pin, "down")
        self._driven = self._off_low | self._off_high
        controls = [chip.io_control(entry[0]) for entry in profile.OUTPUTS.values()]
        self._output_controls = tuple(controls)
        self._play_control = {}
        for signal in profile.OUTPUTS:
            pin, active_high = profile.OUTPUTS[signal]
            override = 0 if active_high else reg.INVERT << chip.output_override
            self._play_control[signal] = (chip.io_control(pin), reg.FUNCTION_PIO[0] | override)
        self._beam_pin = bytearray(2)
        self._beam_high = bytearray(2)
        self._beam_control = [0, 0]
        for beam in range(2):
            if wire.KIND_BEAM[beam] in profile.INPUTS:
                pin, dark_high, _pull = profile.INPUTS[wire.KIND_BEAM[beam]]
                self._beam_pin[beam] = pin
                self._beam_high[beam] = dark_high
                self._beam_control[beam] = chip.io_control(pin)
        self._beam_inverted = bytearray(2)

    def _set_pad(self, pin, pull):
        mem32[self.chip.pad(pin)] = reg.PAD_INPUT | reg.PAD_PULL[pull]

    def outputs_off(self):
        chip = self.chip
        mem32[chip.out_clear] = self._off_low
        mem32[chip.out_set] = self._off_high
        mem32[chip.drive_set] = self._driven
        for control in self._output_controls:
            mem32[control] = reg.FUNCTION_SIO

    def give_to_machines(self, signal):
        """Let PIO block 0 drive this output from now on; its latch must be 0 (off), whatever the polarity."""
        control, value = self._play_control[signal]
        mem32[control] = value

    def show_marks(self):
        """Let PIO block 1 drive the zero and the marks."""
        for pin in (self.zero,) + tuple(self.marks):
            mem32[self.chip.io_control(pin)] = reg.FUNCTION_PIO[1]

    def count_edges(self, beam, dark):
        """Invert the beam's input if needed, so that the edge to be counted is a rise."""
        turned = bool(self._beam_high[beam]) != bool(dark)
        self._beam_inverted[beam] = turned
        mem32[self._beam_control[beam]] = reg.FUNCTION_SIO | (
            reg.INVERT << self.chip.input_override if turned else 0
        )

    def stamp_invert(self):
        """The bits of a stamp to invert, in view of what count_edges has inverted already."""
        invert = self.invert
        for beam in range(2):
            if self._beam_inverted[beam]:
                invert ^= 1 << self._beam_pin[beam] - self.base
        return invert

    def beam_dark(self, beam):
        level = mem32[self.chip.gpio_in] >> self._beam_pin[beam] & 1
        return bool(level ^ self._beam_inverted[beam]) == bool(self._beam_high[beam])

    def is_on(self, signal):
        """The live level of an input."""
        pin, on_high, _pull = self._inputs[signal]
        return bool(mem32[self.chip.gpio_in] >> pin & 1) == bool(on_high)

    def zero_is_up(self):
        return bool(mem32[self.chip.gpio_in] >> self.zero & 1)

    def name_stamps(self, stamps):
        for lines in (self._outputs, self._inputs):
            for signal in lines:
                stamps.name_pin(lines[signal][0] - self.base, signal)
