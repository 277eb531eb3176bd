"""The status light: shows the state as a rhythm, since colours do not show in red light.

idle, no table     a short blink every 2 s
idle, table ready  two short blinks every 2 s
idle, slot ready   one long blink, then as many short ones as the slot's number
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
# How a slot's number blinks, in ms: people can count two blinks a second.
_LONG_MS = 1000
_GAP_MS = 500
_BLINK_MS = 500  # half of it on
_PAUSE_MS = 1500


def light_is_on(state, activity, ready, now_ms, slot=0):
    """Whether the light is on at that time. `slot` is the slot whose table is ready, 0 for none."""
    if state == wire.STATE_FAULT:
        pattern = _FAULT
    elif activity != wire.ACTIVITY_NONE:
        pattern = _UNDER_WAY
    elif state == wire.STATE_MISSED:
        pattern = _MISSED
    elif state == wire.STATE_FIRED:
        pattern = _FIRED
    elif ready and slot:
        return _counts(slot, now_ms)
    else:
        pattern = _IDLE_READY if ready else _IDLE_EMPTY
    return pattern >> (now_ms // _STEP_MS % 16) & 1


def _counts(slot, now_ms):
    at = now_ms % (_LONG_MS + _GAP_MS + slot * _BLINK_MS + _PAUSE_MS)
    if at < _LONG_MS:
        return 1
    at -= _LONG_MS + _GAP_MS
    return int(0 <= at < slot * _BLINK_MS and at % _BLINK_MS < _BLINK_MS // 2)
