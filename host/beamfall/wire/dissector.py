"""Makes protocol/beamfall.lua: a Wireshark dissector for the wire, from messages.toml.

Wireshark and tshark use it to read the pcapng files that `beamfall --trace` writes:
`tshark -X lua_script:protocol/beamfall.lua -r FILE`. Each field has a filter name, `beamfall.MESSAGE.FIELD`.
"""

from __future__ import annotations

from collections.abc import Iterator

from beamfall.wire.schema import Definition, Field, MessageDefinition

_PROTO_FIELDS = {"u8": "uint8", "u16": "uint16", "u32": "uint32", "u64": "uint64"}

_TOP = """\
-- Wireshark dissector for Beamfall's wire protocol.
-- Made from messages.toml by `python -m beamfall.wire.regenerate`: do not edit.
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
"""

_BOTTOM = """
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
"""


def render_dissector(definition: Definition) -> str:
    """Return the source of beamfall.lua."""
    return "\n".join([_TOP, *_lines(definition)]) + _BOTTOM


def _lines(definition: Definition) -> Iterator[str]:
    frame = definition.frame
    yield f"local PROTOCOL = {definition.protocol}"
    yield f"local HEADER_SIZE = {frame.header_size}"
    yield f"local CRC_SIZE = {frame.crc_size}"
    yield ""
    for enum in definition.enums.values():
        yield _names(f"enum_{enum.name}", {int(one): one.label for one in enum.python})
    labels = {one.id: one.name.replace("_", "-") for one in definition.messages.values()}
    yield _names("message_names", labels)
    yield 'f.header_message = ProtoField.uint8("beamfall.message", "message", base.HEX, message_names)'
    yield ""
    for record in definition.records.values():
        for field in record.fields:
            yield _declare(record.name, field)
    for message in definition.messages.values():
        for field in message.fields:
            yield _declare(message.name, field)
    yield ""
    yield "beamfall.fields = {}"
    yield "for _, field in pairs(f) do table.insert(beamfall.fields, field) end"
    yield ""
    for record in definition.records.values():
        yield f"local record_{record.name} = {_list_of(record.name, record.fields)}"
    yield ""
    yield "local messages = {}"
    for message in definition.messages.values():
        yield from _describe(message)


def _names(name: str, labels: dict[int, str]) -> str:
    entries = "\n".join(f'  [{value}] = "{label}",' for value, label in labels.items())
    return f"local {name} = {{\n{entries}\n}}"


def _declare(owner: str, field: Field) -> str:
    """The ProtoField of one field; a list's own field holds the number of records."""
    path = f'"beamfall.{owner}.{field.name}", "{field.name}"'
    target = f"f.{owner}_{field.name}"
    if field.base == "enum":
        return f"{target} = ProtoField.uint8({path}, base.DEC, enum_{field.of})"
    if field.base == "bytes":
        return f"{target} = ProtoField.bytes({path})"
    if field.base == "text":
        return f"{target} = ProtoField.string({path})"
    if field.base == "list":
        return f"{target} = ProtoField.uint8({path})"
    return f"{target} = ProtoField.{_PROTO_FIELDS[field.base]}({path})"


def _list_of(owner: str, fields: tuple[Field, ...]) -> str:
    entries = "\n".join(
        f"    {{ field = f.{owner}_{field.name}, size = {field.size} }}," for field in fields
    )
    return f"{{\n{entries}\n  }}" if entries else "{}"


def _describe(message: MessageDefinition) -> Iterator[str]:
    yield f"messages[0x{message.id:02X}] = {{"
    yield f'  name = "{message.name.replace("_", "-")}",'
    yield f"  fields = {_list_of(message.name, message.fixed)},"
    tail = message.tail
    if tail is not None:
        entry = f'field = f.{message.name}_{tail.name}, name = "{tail.name}"'
        if tail.base == "list":
            entry += f", record = record_{tail.of}, size = {message.tail_size}"
        yield f"  tail = {{ {entry} }},"
    yield "}"
