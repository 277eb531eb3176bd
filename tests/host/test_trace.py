"""A trace keeps what went over a port, and another program (tshark, Debian) reads every field of it.

The dissector in protocol/beamfall.lua is made from messages.toml; the values that it must find are those of
protocol/vectors.json, which come from a separate implementation of the wire.
"""

from __future__ import annotations

import json
import os
import subprocess
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import pytest
from needs import need_program

from beamfall.cli import main
from beamfall.errors import UserError
from beamfall.link.trace import PcapngFile, Trace, describe_piece
from beamfall.places import TRACE_VARIABLE, VERBOSE_VARIABLE
from beamfall.wire import get_definition

TOP = Path(__file__).parents[2]
VECTORS = json.loads((TOP / "protocol" / "vectors.json").read_text(encoding="utf-8"))


@pytest.fixture
def tshark() -> str:
    return need_program("tshark", "apt-get install tshark, or Wireshark")


def test_tshark_finds_every_field_of_every_message(tshark: str, tmp_path: Path) -> None:
    path = tmp_path / "all.pcapng"
    trace = Trace(PcapngFile(path, "vectors"), verbose=False)
    for vector in VECTORS["good"]:
        trace.received(bytes.fromhex(vector["frame"]))
    trace.close()
    packets = _dissect(tshark, path)
    assert len(packets) == len(VECTORS["good"])
    seen: set[str] = set()
    for vector, packet in zip(VECTORS["good"], packets, strict=True):
        assert packet["beamfall.session"] == [vector["session"]], vector["name"]
        assert packet["beamfall.number"] == [vector["number"]], vector["name"]
        assert "beamfall.damaged" not in packet, vector["name"]
        wanted = _expected(vector["message"], vector["fields"])
        assert {name: packet.get(name, []) for name in wanted} == wanted, vector["name"]
        seen |= set(wanted)
    definition = get_definition()
    fields = {
        f"beamfall.{owner.name}.{field.name}"
        for owner in (*definition.messages.values(), *definition.records.values())
        for field in owner.fields
    }
    assert seen == fields, "every field was looked at"


def test_damaged_pieces_are_kept_and_called_damaged(tshark: str, tmp_path: Path) -> None:
    path = tmp_path / "bad.pcapng"
    trace = Trace(PcapngFile(path, "vectors"), verbose=False)
    damaged = [
        one for one in VECTORS["bad"] if one["error"] in ("bad_cobs", "bad_crc", "truncated")
    ]
    for one in damaged:
        trace.received(bytes.fromhex(one["block"]) + b"\0")
    trace.close()
    packets = _dissect(tshark, path)
    assert len(packets) == len(damaged) > 3
    for one, packet in zip(damaged, packets, strict=True):
        assert "beamfall.damaged" in packet, one["name"]


def test_a_shot_is_traced_both_ways_and_later_commands_are_not(
    tshark: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "shot.pcapng"
    assert main(["--trace", str(path), "shoot", "--port", "sim", "--json"]) == 0
    size = path.stat().st_size
    assert main(["drip", "--port", "sim"]) == 0
    assert path.stat().st_size == size, "a command that did not ask for a trace wrote to it"
    messages = [packet["beamfall.message"][0] for packet in _dissect(tshark, path)]
    ids = {name: message.id for name, message in get_definition().messages.items()}
    for name in ("hello", "welcome", "table_begin", "release", "edges", "shot_done", "acknowledge"):
        assert ids[name] in messages, name
    assert TRACE_VARIABLE not in os.environ
    assert VERBOSE_VARIABLE not in os.environ


def test_verbose_prints_each_message_with_its_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level("DEBUG", "beamfall.wire"):
        assert main(["--verbose", "drip", "--port", "sim"]) == 0
    lines = [record.getMessage() for record in caplog.records if record.name == "beamfall.wire"]
    directions = {line.split()[1] for line in lines}
    assert directions == {"->", "<-"}
    assert any(" drip " in line and "valve1" in line for line in lines)
    times = [float(line.split()[0]) for line in lines]
    assert times == sorted(times)


def test_a_file_of_another_kind_is_not_written_to(tmp_path: Path) -> None:
    path = tmp_path / "letter.txt"
    path.write_text("Dear aunt", encoding="utf-8")
    with pytest.raises(UserError):
        PcapngFile(path, "sim")
    assert path.read_text(encoding="utf-8") == "Dear aunt"


def test_a_folder_that_is_not_there_is_named_before_anything_is_released(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "nowhere" / "t.pcapng"
    assert main(["--trace", str(path), "shoot", "--port", "sim"]) == 2
    assert str(path) in capsys.readouterr().err


@pytest.mark.parametrize("piece", [b"", b"\0", b"\xff" * 300, b">>> \r\n", b"\x01\x01"])
def test_whatever_comes_can_be_described(piece: bytes) -> None:
    assert describe_piece(piece)


def _dissect(tshark: str, path: Path) -> list[dict[str, list[Any]]]:
    """Return each packet's fields by name, in order of appearance: bytes as hex, the rest as tshark's numbers."""
    script = f"lua_script:{TOP / 'protocol' / 'beamfall.lua'}"
    done = subprocess.run(
        [tshark, "-X", script, "-r", str(path), "-T", "pdml"],
        capture_output=True, text=True, timeout=120, check=True,
    )  # fmt: skip
    assert "Lua" not in done.stderr, done.stderr
    packets = []
    for packet in ET.fromstring(done.stdout).iter("packet"):
        found: dict[str, list[Any]] = {}
        for field in packet.iter("field"):
            name, shown = field.get("name", ""), field.get("show", "")
            if name.startswith("beamfall."):
                found.setdefault(name, []).append(_value(shown))
        packets.append(found)
    return packets


def _value(shown: str) -> Any:
    if shown.startswith("0x"):
        return int(shown, 16)
    return int(shown) if shown.isascii() and shown.isdigit() else shown


def _expected(message: str, fields: dict[str, Any]) -> dict[str, list[Any]]:
    """What tshark shall show of a vector's fields, by filter name."""
    definition = get_definition()
    wanted: dict[str, list[Any]] = {}

    def add(owner: str, field: Any, value: Any) -> None:
        shown = wanted.setdefault(f"beamfall.{owner}.{field.name}", [])
        if field.base == "enum":
            shown.append(int(definition.enum(field.of)[value]))
        elif field.base == "bytes":
            shown.append(_value(":".join(value[at : at + 2] for at in range(0, len(value), 2))))
        elif field.base == "list":
            shown.append(len(value))
            record = definition.records[field.of]
            for each in record.fields:
                wanted.setdefault(f"beamfall.{record.name}.{each.name}", [])
            for row in value:
                for each in record.fields:
                    add(record.name, each, row[each.name])
        elif field.base == "text":
            shown.append(_value(value))
        else:
            shown.append(int(value))

    for field in definition.messages[message].fields:
        add(message, field, fields[field.name])
    return wanted


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full, which only Linux has")
def test_a_trace_on_a_full_disk_is_refused_by_name() -> None:
    with pytest.raises(UserError, match="/dev/full"):
        PcapngFile(Path("/dev/full"), "sim")
