"""The wire's constants, for the firmware.

Made from protocol/messages.toml by `python -m beamfall.wire.regenerate`: do not edit.
FORMAT_* are `struct` formats of a message's fixed fields; a list or text follows them as one count
byte and then the records (FORMAT_<RECORD>, SIZE_<RECORD> bytes each) or the UTF-8 bytes. Each name
takes some 40 bytes of a board's memory: a field alone has no FORMAT, a request no FIXED (REQUESTS
has it), an enum no VALUES unless a request holds it.
"""

try:
    from micropython import const
except ImportError:  # under CPython

    def const(value):
        return value


PROTOCOL = const(1)
DEFINITION = b"\xd6\xbf\x0c\x55\x4e\x27\xf7\x66"  # digest of messages.toml
EXTENDED = (
    b"\x55\x10\x05\xca\x08\xbe\xf7\x34",
    b"\xfb\x03\xc7\xcc\xcb\xb0\x4a\x59",
)
HEADER_SIZE = const(8)
CRC_SIZE = const(4)
PAYLOAD_MAX = const(240)
FRAME_MAX = const(254)
FORMAT_HEADER = "<BBHI"  # protocol, message, session, number

ROWS_PER_PART = const(18)
EDGES_PER_REPORT = const(36)
REPORT_WINDOW = const(8)
BUTTON_RELEASE_BASE = const(536870912)
TEXT_MAX = const(96)
HORIZON_TICKS = const(1073741823)

STATE_IDLE = const(0)
STATE_ARMED_FOR_SENSOR = const(1)
STATE_FIRED = const(2)
STATE_MISSED = const(3)
STATE_FAULT = const(4)

CAUSE_NONE = const(0)
CAUSE_NO_EDGE = const(1)
CAUSE_FEW_EDGES = const(2)
CAUSE_ABORTED = const(3)
CAUSE_LOST_HOST = const(4)
CAUSE_LATE = const(5)
CAUSE_OVERRUN = const(6)
CAUSE_LOST_EDGES = const(7)
CAUSE_CHATTER = const(8)
CAUSE_PORT_FAILURE = const(9)
CAUSE_INTERNAL = const(10)
CAUSE_WATCHDOG = const(11)
CAUSE_RESTARTED = const(12)

TIMING_HARDWARE = const(1)
TIMING_INTERRUPT = const(2)
TIMING_SIMULATED = const(3)

ACTIVITY_NONE = const(0)
ACTIVITY_SHOT = const(1)
ACTIVITY_DRIP = const(2)
ACTIVITY_RINSE = const(3)
ACTIVITY_TEST_FLASH = const(4)
ACTIVITY_WATCH = const(5)

SIGNAL_VALVE1 = const(1)
SIGNAL_VALVE2 = const(2)
SIGNAL_VALVE3 = const(3)
SIGNAL_FLASH1 = const(4)
SIGNAL_FLASH2 = const(5)
SIGNAL_FLASH3 = const(6)
SIGNAL_FOCUS = const(7)
SIGNAL_SHUTTER = const(8)
SIGNAL_BEAM1 = const(9)
SIGNAL_BEAM2 = const(10)
SIGNAL_LIGHT1 = const(11)
SIGNAL_BUTTON1 = const(12)
SIGNAL_VALUES = (1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12)

ANCHOR_RELEASE = const(0)
ANCHOR_BEAM1 = const(1)
ANCHOR_BEAM2 = const(2)
ANCHOR_VALUES = (0, 1, 2)

EDGE_CLEAR = const(0)
EDGE_DARK = const(1)
EDGE_VALUES = (0, 1)

TABLE_EMPTY = const(0)
TABLE_PARTIAL = const(1)
TABLE_READY = const(2)

REFUSAL_UNKNOWN_MESSAGE = const(1)
REFUSAL_BAD_PAYLOAD = const(2)
REFUSAL_NO_SESSION = const(3)
REFUSAL_STALE = const(4)
REFUSAL_PROTOCOL_MISMATCH = const(5)
REFUSAL_BUSY = const(6)
REFUSAL_NO_TABLE = const(7)
REFUSAL_TABLE_INCOMPLETE = const(8)
REFUSAL_WRONG_DIGEST = const(9)
REFUSAL_WRONG_BOOT = const(10)
REFUSAL_RELEASE_USED = const(11)
REFUSAL_BEAM_BLOCKED = const(12)
REFUSAL_UNCONFIRMED = const(13)
REFUSAL_TOO_SOON = const(14)
REFUSAL_OVER_LIMIT = const(15)
REFUSAL_TOO_MANY_ROWS = const(16)
REFUSAL_BAD_OUTPUT = const(17)
REFUSAL_BAD_ANCHOR = const(18)
REFUSAL_WIDTH_TOO_LONG = const(19)
REFUSAL_OVERLAP = const(20)
REFUSAL_DUTY = const(21)
REFUSAL_FLASH_SPACING = const(22)
REFUSAL_TOO_EARLY = const(23)
REFUSAL_BEFORE_DWELL = const(24)
REFUSAL_BEYOND_HORIZON = const(25)
REFUSAL_WINDOW_MISSING = const(26)
REFUSAL_ZERO_WIDTH = const(27)
REFUSAL_NOT_ORDERED = const(28)
REFUSAL_MACHINE_CONFLICT = const(29)
REFUSAL_IN_FAULT = const(30)
REFUSAL_STORAGE = const(31)

# signals of each kind, number 1 first
KIND_CAMERA = (7, 8)
KIND_VALVE = (1, 2, 3)
KIND_BEAM = (9, 10)
KIND_FLASH = (4, 5, 6)
KIND_LIGHT = (11,)
KIND_BUTTON = (12,)

FORMAT_ROW = "<BBBBII"
SIZE_ROW = const(12)

FORMAT_EDGE = "<BBI"
SIZE_EDGE = const(6)

FORMAT_READING = "<HH"
SIZE_READING = const(4)

FORMAT_SLOT = "<BH16s"
SIZE_SLOT = const(19)

# requests
MSG_HELLO = const(0x01)
MSG_STATUS = const(0x02)
MSG_TABLE_BEGIN = const(0x03)
FORMAT_TABLE_BEGIN = "<16sHIIIIBBBB"
MSG_TABLE_ROWS = const(0x04)
MSG_TABLE_COMMIT = const(0x05)
MSG_RELEASE = const(0x06)
FORMAT_RELEASE = "<II16s"
MSG_ABORT = const(0x07)
MSG_WATCH = const(0x08)
MSG_DRIP = const(0x09)
FORMAT_DRIP = "<BI"
MSG_RINSE = const(0x0A)
FORMAT_RINSE = "<BII"
MSG_TEST_FLASH = const(0x0B)
FORMAT_TEST_FLASH = "<BI"
MSG_SET_HOST_TIMEOUT = const(0x0C)
MSG_SLOTS = const(0x0D)
MSG_SLOT_SAVE = const(0x0E)
MSG_SLOT_LOAD = const(0x0F)
MSG_SLOT_ERASE = const(0x10)
MSG_SLOT_CHOOSE = const(0x11)
MSG_MAINTENANCE = const(0x12)
MSG_EDGE_CONSTANT = const(0x13)
FORMAT_EDGE_CONSTANT = "<BB"
MSG_READINGS = const(0x14)

# notices
MSG_ACKNOWLEDGE = const(0x30)

# answers
MSG_WELCOME = const(0x41)
FORMAT_WELCOME = "<B8sBBBI8sIBBBIIHHHHIIBIIIIIIII"
FIXED_WELCOME = const(88)
MSG_STATUS_IS = const(0x42)
FORMAT_STATUS_IS = "<IBBBB16sIBIHIIII"
FIXED_STATUS_IS = const(51)
MSG_DONE = const(0x43)
MSG_REFUSED = const(0x44)
FORMAT_REFUSED = "<BBHI"
FIXED_REFUSED = const(8)
MSG_EDGE_CONSTANT_IS = const(0x46)
FORMAT_EDGE_CONSTANT_IS = "<BBB"
FIXED_EDGE_CONSTANT_IS = const(3)
MSG_READINGS_ARE = const(0x47)
FORMAT_READINGS_ARE = "<BIBBBII"
FIXED_READINGS_ARE = const(16)
MSG_SLOTS_ARE = const(0x45)
FORMAT_SLOTS_ARE = "<BB"
FIXED_SLOTS_ARE = const(2)

# reports
MSG_STATE_CHANGED = const(0x80)
FORMAT_STATE_CHANGED = "<IBBI"
FIXED_STATE_CHANGED = const(10)
MSG_EDGES = const(0x81)
FORMAT_EDGES = "<BIQ"
FIXED_EDGES = const(13)
MSG_SHOT_DONE = const(0x82)
FORMAT_SHOT_DONE = "<BIBB16sIIIHIHHH"
FIXED_SHOT_DONE = const(47)
MSG_FORGOTTEN = const(0x83)
FORMAT_FORGOTTEN = "<III"
FIXED_FORGOTTEN = const(12)
MSG_TROUBLE = const(0x84)

# beacons
MSG_BEACON = const(0xF0)
FORMAT_BEACON = "<8sI8s"
FIXED_BEACON = const(20)

# requests: id -> bytes of the fixed fields; LISTS also has those with a list
REQUESTS = {
    MSG_HELLO: 8,
    MSG_STATUS: 0,
    MSG_TABLE_BEGIN: 38,
    MSG_TABLE_ROWS: 2,
    MSG_TABLE_COMMIT: 0,
    MSG_RELEASE: 24,
    MSG_ABORT: 0,
    MSG_WATCH: 1,
    MSG_DRIP: 5,
    MSG_RINSE: 9,
    MSG_TEST_FLASH: 5,
    MSG_SET_HOST_TIMEOUT: 4,
    MSG_SLOTS: 0,
    MSG_SLOT_SAVE: 1,
    MSG_SLOT_LOAD: 1,
    MSG_SLOT_ERASE: 1,
    MSG_SLOT_CHOOSE: 1,
    MSG_MAINTENANCE: 0,
    MSG_EDGE_CONSTANT: 2,
    MSG_READINGS: 1,
}

# messages to the board that end in a list: id -> (bytes of one record, most records)
LISTS = {
    MSG_TABLE_ROWS: (12, 18),
}

# enum fields of messages to the board: id -> ((offset in the payload, values), ...)
ENUM_FIELDS = {
    MSG_TABLE_BEGIN: ((34, EDGE_VALUES), (35, EDGE_VALUES)),
    MSG_DRIP: ((0, SIGNAL_VALUES),),
    MSG_RINSE: ((0, SIGNAL_VALUES),),
    MSG_TEST_FLASH: ((0, SIGNAL_VALUES),),
}

# the same within one record of the list: id -> ((offset in the record, values), ...)
LIST_ENUM_FIELDS = {
    MSG_TABLE_ROWS: ((0, ANCHOR_VALUES), (2, SIGNAL_VALUES)),
}
