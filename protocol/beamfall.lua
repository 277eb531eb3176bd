-- Wireshark dissector for Beamfall's wire protocol.
-- `python -m beamfall.wire.regenerate` makes the part between the `generated` lines from messages.toml.
-- Use: tshark -X lua_script:protocol/beamfall.lua -r FILE, or copy it into Wireshark's folder of
-- personal Lua plugins. It reads link type USER0 (147), which `beamfall --trace FILE` writes: one
-- packet is one COBS-encoded frame with the 0x00 that ends it.

local beamfall = Proto("beamfall", "Beamfall wire")
local f = {}

f.header_protocol = ProtoField.uint8("beamfall.protocol", "protocol version")
f.header_session = ProtoField.uint16("beamfall.session", "session", base.HEX)
f.header_number = ProtoField.uint32("beamfall.number", "number")
f.header_payload = ProtoField.bytes("beamfall.payload", "payload")
f.header_crc = ProtoField.uint32("beamfall.crc32", "CRC-32", base.HEX)

-- generated: definition
local PROTOCOL = 1
local HEADER_SIZE = 8
local CRC_SIZE = 4

local enum_state = {
  [0] = "idle",
  [1] = "armed-for-sensor",
  [2] = "fired",
  [3] = "missed",
  [4] = "fault",
}
local enum_cause = {
  [0] = "none",
  [1] = "no-edge",
  [2] = "few-edges",
  [3] = "aborted",
  [4] = "lost-host",
  [5] = "late",
  [6] = "overrun",
  [7] = "lost-edges",
  [8] = "chatter",
  [9] = "port-failure",
  [10] = "internal",
  [11] = "watchdog",
  [12] = "restarted",
}
local enum_timing = {
  [1] = "hardware",
  [2] = "interrupt",
  [3] = "simulated",
}
local enum_activity = {
  [0] = "none",
  [1] = "shot",
  [2] = "drip",
  [3] = "rinse",
  [4] = "test-flash",
  [5] = "watch",
}
local enum_signal = {
  [1] = "valve1",
  [2] = "valve2",
  [3] = "valve3",
  [4] = "flash1",
  [5] = "flash2",
  [6] = "flash3",
  [7] = "focus",
  [8] = "shutter",
  [9] = "beam1",
  [10] = "beam2",
  [11] = "light1",
  [12] = "button1",
}
local enum_anchor = {
  [0] = "release",
  [1] = "beam1",
  [2] = "beam2",
}
local enum_beam_edge = {
  [0] = "clear",
  [1] = "dark",
}
local enum_table = {
  [0] = "empty",
  [1] = "partial",
  [2] = "ready",
}
local enum_refusal = {
  [1] = "unknown-message",
  [2] = "bad-payload",
  [3] = "no-session",
  [4] = "stale",
  [5] = "protocol-mismatch",
  [6] = "busy",
  [7] = "no-table",
  [8] = "table-incomplete",
  [9] = "wrong-digest",
  [10] = "wrong-boot",
  [11] = "release-used",
  [12] = "beam-blocked",
  [13] = "unconfirmed",
  [14] = "too-soon",
  [15] = "over-limit",
  [16] = "too-many-rows",
  [17] = "bad-output",
  [18] = "bad-anchor",
  [19] = "width-too-long",
  [20] = "overlap",
  [21] = "duty",
  [22] = "flash-spacing",
  [23] = "too-early",
  [24] = "before-dwell",
  [25] = "beyond-horizon",
  [26] = "window-missing",
  [27] = "zero-width",
  [28] = "not-ordered",
  [29] = "machine-conflict",
  [30] = "in-fault",
  [31] = "storage",
}
local message_names = {
  [1] = "hello",
  [2] = "status",
  [3] = "table-begin",
  [4] = "table-rows",
  [5] = "table-commit",
  [6] = "release",
  [7] = "abort",
  [8] = "watch",
  [9] = "drip",
  [10] = "rinse",
  [11] = "test-flash",
  [12] = "set-host-timeout",
  [48] = "acknowledge",
  [65] = "welcome",
  [66] = "status-is",
  [67] = "done",
  [68] = "refused",
  [128] = "state-changed",
  [129] = "edges",
  [130] = "shot-done",
  [131] = "forgotten",
  [132] = "trouble",
  [13] = "slots",
  [14] = "slot-save",
  [15] = "slot-load",
  [16] = "slot-erase",
  [17] = "slot-choose",
  [18] = "maintenance",
  [19] = "edge-constant",
  [70] = "edge-constant-is",
  [20] = "readings",
  [71] = "readings-are",
  [69] = "slots-are",
  [240] = "beacon",
}
f.header_message = ProtoField.uint8("beamfall.message", "message", base.HEX, message_names)

f.row_anchor = ProtoField.uint8("beamfall.row.anchor", "anchor", base.DEC, enum_anchor)
f.row_count = ProtoField.uint8("beamfall.row.count", "count")
f.row_output = ProtoField.uint8("beamfall.row.output", "output", base.DEC, enum_signal)
f.row_spare = ProtoField.uint8("beamfall.row.spare", "spare")
f.row_delay_ticks = ProtoField.uint32("beamfall.row.delay_ticks", "delay_ticks")
f.row_width_ticks = ProtoField.uint32("beamfall.row.width_ticks", "width_ticks")
f.edge_signal = ProtoField.uint8("beamfall.edge.signal", "signal", base.DEC, enum_signal)
f.edge_mark = ProtoField.uint8("beamfall.edge.mark", "mark")
f.edge_ticks = ProtoField.uint32("beamfall.edge.ticks", "ticks")
f.reading_current_ma = ProtoField.uint16("beamfall.reading.current_ma", "current_ma")
f.reading_supply_mv = ProtoField.uint16("beamfall.reading.supply_mv", "supply_mv")
f.slot_slot = ProtoField.uint8("beamfall.slot.slot", "slot")
f.slot_rows = ProtoField.uint16("beamfall.slot.rows", "rows")
f.slot_digest = ProtoField.bytes("beamfall.slot.digest", "digest")
f.hello_definition = ProtoField.bytes("beamfall.hello.definition", "definition")
f.table_begin_digest = ProtoField.bytes("beamfall.table_begin.digest", "digest")
f.table_begin_rows = ProtoField.uint16("beamfall.table_begin.rows", "rows")
f.table_begin_window_ticks = ProtoField.uint32("beamfall.table_begin.window_ticks", "window_ticks")
f.table_begin_tail_ticks = ProtoField.uint32("beamfall.table_begin.tail_ticks", "tail_ticks")
f.table_begin_blanking_ticks = ProtoField.uint32("beamfall.table_begin.blanking_ticks", "blanking_ticks")
f.table_begin_dwell_ticks = ProtoField.uint32("beamfall.table_begin.dwell_ticks", "dwell_ticks")
f.table_begin_beam1_edge = ProtoField.uint8("beamfall.table_begin.beam1_edge", "beam1_edge", base.DEC, enum_beam_edge)
f.table_begin_beam2_edge = ProtoField.uint8("beamfall.table_begin.beam2_edge", "beam2_edge", base.DEC, enum_beam_edge)
f.table_begin_await1 = ProtoField.uint8("beamfall.table_begin.await1", "await1")
f.table_begin_await2 = ProtoField.uint8("beamfall.table_begin.await2", "await2")
f.table_rows_first = ProtoField.uint16("beamfall.table_rows.first", "first")
f.table_rows_rows = ProtoField.uint8("beamfall.table_rows.rows", "rows")
f.release_boot_id = ProtoField.uint32("beamfall.release.boot_id", "boot_id")
f.release_release = ProtoField.uint32("beamfall.release.release", "release")
f.release_digest = ProtoField.bytes("beamfall.release.digest", "digest")
f.watch_on = ProtoField.uint8("beamfall.watch.on", "on")
f.drip_output = ProtoField.uint8("beamfall.drip.output", "output", base.DEC, enum_signal)
f.drip_width_ticks = ProtoField.uint32("beamfall.drip.width_ticks", "width_ticks")
f.rinse_output = ProtoField.uint8("beamfall.rinse.output", "output", base.DEC, enum_signal)
f.rinse_width_ms = ProtoField.uint32("beamfall.rinse.width_ms", "width_ms")
f.rinse_token = ProtoField.uint32("beamfall.rinse.token", "token")
f.test_flash_output = ProtoField.uint8("beamfall.test_flash.output", "output", base.DEC, enum_signal)
f.test_flash_width_ticks = ProtoField.uint32("beamfall.test_flash.width_ticks", "width_ticks")
f.set_host_timeout_timeout_ms = ProtoField.uint32("beamfall.set_host_timeout.timeout_ms", "timeout_ms")
f.acknowledge_through = ProtoField.uint32("beamfall.acknowledge.through", "through")
f.welcome_protocol = ProtoField.uint8("beamfall.welcome.protocol", "protocol")
f.welcome_definition = ProtoField.bytes("beamfall.welcome.definition", "definition")
f.welcome_firmware_major = ProtoField.uint8("beamfall.welcome.firmware_major", "firmware_major")
f.welcome_firmware_minor = ProtoField.uint8("beamfall.welcome.firmware_minor", "firmware_minor")
f.welcome_firmware_patch = ProtoField.uint8("beamfall.welcome.firmware_patch", "firmware_patch")
f.welcome_boot_id = ProtoField.uint32("beamfall.welcome.boot_id", "boot_id")
f.welcome_unique_id = ProtoField.bytes("beamfall.welcome.unique_id", "unique_id")
f.welcome_clock_hz = ProtoField.uint32("beamfall.welcome.clock_hz", "clock_hz")
f.welcome_timing = ProtoField.uint8("beamfall.welcome.timing", "timing", base.DEC, enum_timing)
f.welcome_state = ProtoField.uint8("beamfall.welcome.state", "state", base.DEC, enum_state)
f.welcome_cause = ProtoField.uint8("beamfall.welcome.cause", "cause", base.DEC, enum_cause)
f.welcome_last_release = ProtoField.uint32("beamfall.welcome.last_release", "last_release")
f.welcome_oldest_report = ProtoField.uint32("beamfall.welcome.oldest_report", "oldest_report")
f.welcome_stamp_ticks = ProtoField.uint16("beamfall.welcome.stamp_ticks", "stamp_ticks")
f.welcome_outputs = ProtoField.uint16("beamfall.welcome.outputs", "outputs")
f.welcome_inputs = ProtoField.uint16("beamfall.welcome.inputs", "inputs")
f.welcome_rows_max = ProtoField.uint16("beamfall.welcome.rows_max", "rows_max")
f.welcome_valve_max_us = ProtoField.uint32("beamfall.welcome.valve_max_us", "valve_max_us")
f.welcome_valve_gap_us = ProtoField.uint32("beamfall.welcome.valve_gap_us", "valve_gap_us")
f.welcome_duty_percent = ProtoField.uint8("beamfall.welcome.duty_percent", "duty_percent")
f.welcome_duty_window_ms = ProtoField.uint32("beamfall.welcome.duty_window_ms", "duty_window_ms")
f.welcome_rinse_max_ms = ProtoField.uint32("beamfall.welcome.rinse_max_ms", "rinse_max_ms")
f.welcome_flash_max_us = ProtoField.uint32("beamfall.welcome.flash_max_us", "flash_max_us")
f.welcome_flash_gap_us = ProtoField.uint32("beamfall.welcome.flash_gap_us", "flash_gap_us")
f.welcome_camera_max_ms = ProtoField.uint32("beamfall.welcome.camera_max_ms", "camera_max_ms")
f.welcome_window_max_ms = ProtoField.uint32("beamfall.welcome.window_max_ms", "window_max_ms")
f.welcome_earliest_ticks = ProtoField.uint32("beamfall.welcome.earliest_ticks", "earliest_ticks")
f.welcome_earliest_beam_ticks = ProtoField.uint32("beamfall.welcome.earliest_beam_ticks", "earliest_beam_ticks")
f.welcome_name = ProtoField.string("beamfall.welcome.name", "name")
f.status_is_boot_id = ProtoField.uint32("beamfall.status_is.boot_id", "boot_id")
f.status_is_state = ProtoField.uint8("beamfall.status_is.state", "state", base.DEC, enum_state)
f.status_is_cause = ProtoField.uint8("beamfall.status_is.cause", "cause", base.DEC, enum_cause)
f.status_is_activity = ProtoField.uint8("beamfall.status_is.activity", "activity", base.DEC, enum_activity)
f.status_is_table = ProtoField.uint8("beamfall.status_is.table", "table", base.DEC, enum_table)
f.status_is_digest = ProtoField.bytes("beamfall.status_is.digest", "digest")
f.status_is_last_release = ProtoField.uint32("beamfall.status_is.last_release", "last_release")
f.status_is_beams_dark = ProtoField.uint8("beamfall.status_is.beams_dark", "beams_dark")
f.status_is_uptime_ms = ProtoField.uint32("beamfall.status_is.uptime_ms", "uptime_ms")
f.status_is_reports_kept = ProtoField.uint16("beamfall.status_is.reports_kept", "reports_kept")
f.status_is_reports_forgotten = ProtoField.uint32("beamfall.status_is.reports_forgotten", "reports_forgotten")
f.status_is_shots_forgotten = ProtoField.uint32("beamfall.status_is.shots_forgotten", "shots_forgotten")
f.status_is_frames_good = ProtoField.uint32("beamfall.status_is.frames_good", "frames_good")
f.status_is_frames_bad = ProtoField.uint32("beamfall.status_is.frames_bad", "frames_bad")
f.done_request = ProtoField.uint8("beamfall.done.request", "request")
f.refused_request = ProtoField.uint8("beamfall.refused.request", "request")
f.refused_reason = ProtoField.uint8("beamfall.refused.reason", "reason", base.DEC, enum_refusal)
f.refused_row = ProtoField.uint16("beamfall.refused.row", "row")
f.refused_detail = ProtoField.uint32("beamfall.refused.detail", "detail")
f.state_changed_release = ProtoField.uint32("beamfall.state_changed.release", "release")
f.state_changed_state = ProtoField.uint8("beamfall.state_changed.state", "state", base.DEC, enum_state)
f.state_changed_cause = ProtoField.uint8("beamfall.state_changed.cause", "cause", base.DEC, enum_cause)
f.state_changed_ticks = ProtoField.uint32("beamfall.state_changed.ticks", "ticks")
f.edges_activity = ProtoField.uint8("beamfall.edges.activity", "activity", base.DEC, enum_activity)
f.edges_release = ProtoField.uint32("beamfall.edges.release", "release")
f.edges_base_ticks = ProtoField.uint64("beamfall.edges.base_ticks", "base_ticks")
f.edges_edges = ProtoField.uint8("beamfall.edges.edges", "edges")
f.shot_done_activity = ProtoField.uint8("beamfall.shot_done.activity", "activity", base.DEC, enum_activity)
f.shot_done_release = ProtoField.uint32("beamfall.shot_done.release", "release")
f.shot_done_state = ProtoField.uint8("beamfall.shot_done.state", "state", base.DEC, enum_state)
f.shot_done_cause = ProtoField.uint8("beamfall.shot_done.cause", "cause", base.DEC, enum_cause)
f.shot_done_digest = ProtoField.bytes("beamfall.shot_done.digest", "digest")
f.shot_done_ended_ticks = ProtoField.uint32("beamfall.shot_done.ended_ticks", "ended_ticks")
f.shot_done_edges = ProtoField.uint32("beamfall.shot_done.edges", "edges")
f.shot_done_edges_lost = ProtoField.uint32("beamfall.shot_done.edges_lost", "edges_lost")
f.shot_done_rows_late = ProtoField.uint16("beamfall.shot_done.rows_late", "rows_late")
f.shot_done_worst_late_ticks = ProtoField.uint32("beamfall.shot_done.worst_late_ticks", "worst_late_ticks")
f.shot_done_beam1_counted = ProtoField.uint16("beamfall.shot_done.beam1_counted", "beam1_counted")
f.shot_done_beam2_counted = ProtoField.uint16("beamfall.shot_done.beam2_counted", "beam2_counted")
f.shot_done_beam_edges_ignored = ProtoField.uint16("beamfall.shot_done.beam_edges_ignored", "beam_edges_ignored")
f.forgotten_first = ProtoField.uint32("beamfall.forgotten.first", "first")
f.forgotten_reports = ProtoField.uint32("beamfall.forgotten.reports", "reports")
f.forgotten_shots = ProtoField.uint32("beamfall.forgotten.shots", "shots")
f.trouble_text = ProtoField.string("beamfall.trouble.text", "text")
f.slot_save_slot = ProtoField.uint8("beamfall.slot_save.slot", "slot")
f.slot_load_slot = ProtoField.uint8("beamfall.slot_load.slot", "slot")
f.slot_erase_slot = ProtoField.uint8("beamfall.slot_erase.slot", "slot")
f.slot_choose_slot = ProtoField.uint8("beamfall.slot_choose.slot", "slot")
f.edge_constant_set = ProtoField.uint8("beamfall.edge_constant.set", "set")
f.edge_constant_ticks = ProtoField.uint8("beamfall.edge_constant.ticks", "ticks")
f.edge_constant_is_ticks = ProtoField.uint8("beamfall.edge_constant_is.ticks", "ticks")
f.edge_constant_is_expected = ProtoField.uint8("beamfall.edge_constant_is.expected", "expected")
f.edge_constant_is_most = ProtoField.uint8("beamfall.edge_constant_is.most", "most")
f.readings_part = ProtoField.uint8("beamfall.readings.part", "part")
f.readings_are_activity = ProtoField.uint8("beamfall.readings_are.activity", "activity", base.DEC, enum_activity)
f.readings_are_release = ProtoField.uint32("beamfall.readings_are.release", "release")
f.readings_are_part = ProtoField.uint8("beamfall.readings_are.part", "part")
f.readings_are_parts = ProtoField.uint8("beamfall.readings_are.parts", "parts")
f.readings_are_most = ProtoField.uint8("beamfall.readings_are.most", "most")
f.readings_are_start_ticks = ProtoField.uint32("beamfall.readings_are.start_ticks", "start_ticks")
f.readings_are_spacing_ticks = ProtoField.uint32("beamfall.readings_are.spacing_ticks", "spacing_ticks")
f.readings_are_readings = ProtoField.uint8("beamfall.readings_are.readings", "readings")
f.slots_are_chosen = ProtoField.uint8("beamfall.slots_are.chosen", "chosen")
f.slots_are_most = ProtoField.uint8("beamfall.slots_are.most", "most")
f.slots_are_slots = ProtoField.uint8("beamfall.slots_are.slots", "slots")
f.beacon_definition = ProtoField.bytes("beamfall.beacon.definition", "definition")
f.beacon_boot_id = ProtoField.uint32("beamfall.beacon.boot_id", "boot_id")
f.beacon_unique_id = ProtoField.bytes("beamfall.beacon.unique_id", "unique_id")
f.beacon_name = ProtoField.string("beamfall.beacon.name", "name")

beamfall.fields = {}
for _, field in pairs(f) do table.insert(beamfall.fields, field) end

local record_row = {
    { field = f.row_anchor, size = 1 },
    { field = f.row_count, size = 1 },
    { field = f.row_output, size = 1 },
    { field = f.row_spare, size = 1 },
    { field = f.row_delay_ticks, size = 4 },
    { field = f.row_width_ticks, size = 4 },
  }
local record_edge = {
    { field = f.edge_signal, size = 1 },
    { field = f.edge_mark, size = 1 },
    { field = f.edge_ticks, size = 4 },
  }
local record_reading = {
    { field = f.reading_current_ma, size = 2 },
    { field = f.reading_supply_mv, size = 2 },
  }
local record_slot = {
    { field = f.slot_slot, size = 1 },
    { field = f.slot_rows, size = 2 },
    { field = f.slot_digest, size = 16 },
  }

local messages = {}
messages[0x01] = {
  name = "hello",
  fields = {
    { field = f.hello_definition, size = 8 },
  },
}
messages[0x02] = {
  name = "status",
  fields = {},
}
messages[0x03] = {
  name = "table-begin",
  fields = {
    { field = f.table_begin_digest, size = 16 },
    { field = f.table_begin_rows, size = 2 },
    { field = f.table_begin_window_ticks, size = 4 },
    { field = f.table_begin_tail_ticks, size = 4 },
    { field = f.table_begin_blanking_ticks, size = 4 },
    { field = f.table_begin_dwell_ticks, size = 4 },
    { field = f.table_begin_beam1_edge, size = 1 },
    { field = f.table_begin_beam2_edge, size = 1 },
    { field = f.table_begin_await1, size = 1 },
    { field = f.table_begin_await2, size = 1 },
  },
}
messages[0x04] = {
  name = "table-rows",
  fields = {
    { field = f.table_rows_first, size = 2 },
  },
  tail = { field = f.table_rows_rows, name = "rows", record = record_row, size = 12 },
}
messages[0x05] = {
  name = "table-commit",
  fields = {},
}
messages[0x06] = {
  name = "release",
  fields = {
    { field = f.release_boot_id, size = 4 },
    { field = f.release_release, size = 4 },
    { field = f.release_digest, size = 16 },
  },
}
messages[0x07] = {
  name = "abort",
  fields = {},
}
messages[0x08] = {
  name = "watch",
  fields = {
    { field = f.watch_on, size = 1 },
  },
}
messages[0x09] = {
  name = "drip",
  fields = {
    { field = f.drip_output, size = 1 },
    { field = f.drip_width_ticks, size = 4 },
  },
}
messages[0x0A] = {
  name = "rinse",
  fields = {
    { field = f.rinse_output, size = 1 },
    { field = f.rinse_width_ms, size = 4 },
    { field = f.rinse_token, size = 4 },
  },
}
messages[0x0B] = {
  name = "test-flash",
  fields = {
    { field = f.test_flash_output, size = 1 },
    { field = f.test_flash_width_ticks, size = 4 },
  },
}
messages[0x0C] = {
  name = "set-host-timeout",
  fields = {
    { field = f.set_host_timeout_timeout_ms, size = 4 },
  },
}
messages[0x30] = {
  name = "acknowledge",
  fields = {
    { field = f.acknowledge_through, size = 4 },
  },
}
messages[0x41] = {
  name = "welcome",
  fields = {
    { field = f.welcome_protocol, size = 1 },
    { field = f.welcome_definition, size = 8 },
    { field = f.welcome_firmware_major, size = 1 },
    { field = f.welcome_firmware_minor, size = 1 },
    { field = f.welcome_firmware_patch, size = 1 },
    { field = f.welcome_boot_id, size = 4 },
    { field = f.welcome_unique_id, size = 8 },
    { field = f.welcome_clock_hz, size = 4 },
    { field = f.welcome_timing, size = 1 },
    { field = f.welcome_state, size = 1 },
    { field = f.welcome_cause, size = 1 },
    { field = f.welcome_last_release, size = 4 },
    { field = f.welcome_oldest_report, size = 4 },
    { field = f.welcome_stamp_ticks, size = 2 },
    { field = f.welcome_outputs, size = 2 },
    { field = f.welcome_inputs, size = 2 },
    { field = f.welcome_rows_max, size = 2 },
    { field = f.welcome_valve_max_us, size = 4 },
    { field = f.welcome_valve_gap_us, size = 4 },
    { field = f.welcome_duty_percent, size = 1 },
    { field = f.welcome_duty_window_ms, size = 4 },
    { field = f.welcome_rinse_max_ms, size = 4 },
    { field = f.welcome_flash_max_us, size = 4 },
    { field = f.welcome_flash_gap_us, size = 4 },
    { field = f.welcome_camera_max_ms, size = 4 },
    { field = f.welcome_window_max_ms, size = 4 },
    { field = f.welcome_earliest_ticks, size = 4 },
    { field = f.welcome_earliest_beam_ticks, size = 4 },
  },
  tail = { field = f.welcome_name, name = "name" },
}
messages[0x42] = {
  name = "status-is",
  fields = {
    { field = f.status_is_boot_id, size = 4 },
    { field = f.status_is_state, size = 1 },
    { field = f.status_is_cause, size = 1 },
    { field = f.status_is_activity, size = 1 },
    { field = f.status_is_table, size = 1 },
    { field = f.status_is_digest, size = 16 },
    { field = f.status_is_last_release, size = 4 },
    { field = f.status_is_beams_dark, size = 1 },
    { field = f.status_is_uptime_ms, size = 4 },
    { field = f.status_is_reports_kept, size = 2 },
    { field = f.status_is_reports_forgotten, size = 4 },
    { field = f.status_is_shots_forgotten, size = 4 },
    { field = f.status_is_frames_good, size = 4 },
    { field = f.status_is_frames_bad, size = 4 },
  },
}
messages[0x43] = {
  name = "done",
  fields = {
    { field = f.done_request, size = 1 },
  },
}
messages[0x44] = {
  name = "refused",
  fields = {
    { field = f.refused_request, size = 1 },
    { field = f.refused_reason, size = 1 },
    { field = f.refused_row, size = 2 },
    { field = f.refused_detail, size = 4 },
  },
}
messages[0x80] = {
  name = "state-changed",
  fields = {
    { field = f.state_changed_release, size = 4 },
    { field = f.state_changed_state, size = 1 },
    { field = f.state_changed_cause, size = 1 },
    { field = f.state_changed_ticks, size = 4 },
  },
}
messages[0x81] = {
  name = "edges",
  fields = {
    { field = f.edges_activity, size = 1 },
    { field = f.edges_release, size = 4 },
    { field = f.edges_base_ticks, size = 8 },
  },
  tail = { field = f.edges_edges, name = "edges", record = record_edge, size = 6 },
}
messages[0x82] = {
  name = "shot-done",
  fields = {
    { field = f.shot_done_activity, size = 1 },
    { field = f.shot_done_release, size = 4 },
    { field = f.shot_done_state, size = 1 },
    { field = f.shot_done_cause, size = 1 },
    { field = f.shot_done_digest, size = 16 },
    { field = f.shot_done_ended_ticks, size = 4 },
    { field = f.shot_done_edges, size = 4 },
    { field = f.shot_done_edges_lost, size = 4 },
    { field = f.shot_done_rows_late, size = 2 },
    { field = f.shot_done_worst_late_ticks, size = 4 },
    { field = f.shot_done_beam1_counted, size = 2 },
    { field = f.shot_done_beam2_counted, size = 2 },
    { field = f.shot_done_beam_edges_ignored, size = 2 },
  },
}
messages[0x83] = {
  name = "forgotten",
  fields = {
    { field = f.forgotten_first, size = 4 },
    { field = f.forgotten_reports, size = 4 },
    { field = f.forgotten_shots, size = 4 },
  },
}
messages[0x84] = {
  name = "trouble",
  fields = {},
  tail = { field = f.trouble_text, name = "text" },
}
messages[0x0D] = {
  name = "slots",
  fields = {},
}
messages[0x0E] = {
  name = "slot-save",
  fields = {
    { field = f.slot_save_slot, size = 1 },
  },
}
messages[0x0F] = {
  name = "slot-load",
  fields = {
    { field = f.slot_load_slot, size = 1 },
  },
}
messages[0x10] = {
  name = "slot-erase",
  fields = {
    { field = f.slot_erase_slot, size = 1 },
  },
}
messages[0x11] = {
  name = "slot-choose",
  fields = {
    { field = f.slot_choose_slot, size = 1 },
  },
}
messages[0x12] = {
  name = "maintenance",
  fields = {},
}
messages[0x13] = {
  name = "edge-constant",
  fields = {
    { field = f.edge_constant_set, size = 1 },
    { field = f.edge_constant_ticks, size = 1 },
  },
}
messages[0x46] = {
  name = "edge-constant-is",
  fields = {
    { field = f.edge_constant_is_ticks, size = 1 },
    { field = f.edge_constant_is_expected, size = 1 },
    { field = f.edge_constant_is_most, size = 1 },
  },
}
messages[0x14] = {
  name = "readings",
  fields = {
    { field = f.readings_part, size = 1 },
  },
}
messages[0x47] = {
  name = "readings-are",
  fields = {
    { field = f.readings_are_activity, size = 1 },
    { field = f.readings_are_release, size = 4 },
    { field = f.readings_are_part, size = 1 },
    { field = f.readings_are_parts, size = 1 },
    { field = f.readings_are_most, size = 1 },
    { field = f.readings_are_start_ticks, size = 4 },
    { field = f.readings_are_spacing_ticks, size = 4 },
  },
  tail = { field = f.readings_are_readings, name = "readings", record = record_reading, size = 4 },
}
messages[0x45] = {
  name = "slots-are",
  fields = {
    { field = f.slots_are_chosen, size = 1 },
    { field = f.slots_are_most, size = 1 },
  },
  tail = { field = f.slots_are_slots, name = "slots", record = record_slot, size = 19 },
}
messages[0xF0] = {
  name = "beacon",
  fields = {
    { field = f.beacon_definition, size = 8 },
    { field = f.beacon_boot_id, size = 4 },
    { field = f.beacon_unique_id, size = 8 },
  },
  tail = { field = f.beacon_name, name = "name" },
}
-- end of generated: definition

local malformed = ProtoExpert.new("beamfall.damaged", "damaged frame", expert.group.MALFORMED, expert.severity.ERROR)
beamfall.experts = { malformed }

-- COBS (Cheshire & Baker 1999): the decoded bytes of `data`, or nil.
local function decode_cobs(data)
  local out, at, size = {}, 0, data:len()
  while at < size do
    local code = data:get_index(at)
    if code == 0 or at + code > size then return nil end
    for i = at + 1, at + code - 1 do
      local byte = data:get_index(i)
      if byte == 0 then return nil end
      out[#out + 1] = byte
    end
    at = at + code
    if code < 255 and at < size then out[#out + 1] = 0 end
  end
  return out
end

-- CRC-32 as in zlib (polynomial 0xEDB88320) of the first `size` bytes.
local function crc32(bytes, size)
  local crc = 0xFFFFFFFF
  for i = 1, size do
    crc = bit.bxor(crc, bytes[i])
    for _ = 1, 8 do
      local low = bit.band(crc, 1)
      crc = bit.rshift(crc, 1)
      if low == 1 then crc = bit.bxor(crc, 0xEDB88320) end
    end
  end
  return bit.bnot(crc)
end

local function add_fields(tree, tvb, at, fields)
  for _, field in ipairs(fields) do
    if at + field.size > tvb:len() then return nil end
    tree:add_le(field.field, tvb(at, field.size))
    at = at + field.size
  end
  return at
end

-- A list or a text: one count byte, then records or UTF-8.
local function add_tail(tree, tvb, at, tail)
  if at >= tvb:len() then return nil end
  local count = tvb(at, 1):uint()
  if tail.record == nil then
    if at + 1 + count > tvb:len() then return nil end
    tree:add(tail.field, tvb(at + 1, count), tvb(at + 1, count):string(ENC_UTF_8))
    return at + 1 + count
  end
  tree:add(tail.field, tvb(at, 1))
  at = at + 1
  for index = 1, count do
    if at + tail.size > tvb:len() then return nil end
    local record = tree:add(beamfall, tvb(at, tail.size), string.format("%s %d", tail.name, index))
    at = add_fields(record, tvb, at, tail.record)
    if at == nil then return nil end
  end
  return at
end

function beamfall.dissector(buffer, pinfo, root)
  pinfo.cols.protocol = "Beamfall"
  local tree = root:add(beamfall, buffer())
  local length = buffer:len()
  if length > 0 and buffer(length - 1, 1):uint() == 0 then length = length - 1 end
  local bytes = length > 0 and decode_cobs(buffer(0, length):bytes()) or nil
  local reason = nil
  if bytes == nil then
    reason = "not COBS"
  elseif #bytes < HEADER_SIZE + CRC_SIZE then
    reason = "too short"
  end
  if reason == nil then
    local hex = {}
    for i = 1, #bytes do hex[i] = string.format("%02x", bytes[i]) end
    local tvb = ByteArray.new(table.concat(hex)):tvb("Beamfall frame")
    local body = #bytes - CRC_SIZE
    local id = tvb(1, 1):uint()
    local message = messages[id]
    local name = message and message.name or string.format("message 0x%02x", id)
    tree:add(f.header_protocol, tvb(0, 1))
    tree:add(f.header_message, tvb(1, 1))
    tree:add_le(f.header_session, tvb(2, 2))
    tree:add_le(f.header_number, tvb(4, 4))
    pinfo.cols.info = string.format("%s %d", name, tvb(4, 4):le_uint())
    if bit.tobit(tvb(body, 4):le_uint()) ~= bit.tobit(crc32(bytes, body)) then
      reason = "wrong CRC-32"
    elseif tvb(0, 1):uint() ~= PROTOCOL or message == nil then
      if body > HEADER_SIZE then tree:add(f.header_payload, tvb(HEADER_SIZE, body - HEADER_SIZE)) end
    else
      local payload = tree:add(beamfall, tvb(0, body), name)
      local inside = tvb(0, body):tvb()
      local at = add_fields(payload, inside, HEADER_SIZE, message.fields)
      if at ~= nil and message.tail ~= nil then at = add_tail(payload, inside, at, message.tail) end
      if at ~= body then reason = "payload of the wrong length" end
    end
    tree:add_le(f.header_crc, tvb(body, CRC_SIZE))
  end
  if reason ~= nil then
    pinfo.cols.info = "damaged: " .. reason
    tree:add_proto_expert_info(malformed, "damaged frame: " .. reason)
  end
end

DissectorTable.get("wtap_encap"):add(wtap.USER0, beamfall)
