"""The status light: shows the state as a rhythm, since colours do not show in red light.

idle, no table     a short blink every 2 s
idle, table ready  two short blinks every 2 s
under way          fast, even flicker
fired              steadily on
missed             three short blinks, then a pause
fault              long on, short off
"""

from beamfall_board import wire_definition as wire

_STEP_MS = 125
# One bit per step of 125 ms, lowest first; 16 steps are 2 s.
_IDLE_EMPTY = 0b0000000000000001
_IDLE_READY = 0b0000000000000101
_UNDER_WAY = 0b0101010101010101
_FIRED = 0b1111111111111111
_MISSED = 0b0000000000010101
_FAULT = 0b0111111101111111


def light_is_on(state, activity, ready, now_ms):
    """Whether the light is on at that time."""
    if state == wire.STATE_FAULT:
        pattern = _FAULT
    elif activity != wire.ACTIVITY_NONE:
        pattern = _UNDER_WAY
    elif state == wire.STATE_MISSED:
        pattern = _MISSED
    elif state == wire.STATE_FIRED:
        pattern = _FIRED
    else:
        pattern = _IDLE_READY if ready else _IDLE_EMPTY
    return pattern >> (now_ms // _STEP_MS % 16) & 1
