"""COBS and CRC-32 against values and programs that others have published."""

from __future__ import annotations

import zlib

import cobs.cobs  # PyPI cobs 1.2.2, an independent implementation
import pytest
from hypothesis import given
from hypothesis import strategies as st

from beamfall.errors import CobsError
from beamfall.wire import Frame, encode_frame, get_definition
from beamfall.wire import cobs as ours


def test_crc32_has_its_check_value() -> None:
    # 'CRC-32/ISO-HDLC', check value of "123456789": catalogue of parametrised CRC algorithms
    # (G. Cook, reveng.sourceforge.io), as in IEEE 802.3.
    assert zlib.crc32(b"123456789") == 0xCBF43926


def test_a_frame_carries_the_crc_of_header_and_payload() -> None:
    # The header is chosen so that header and payload are the bytes "123456789".
    frame = Frame(0x31, 0x32, 0x3433, 0x38373635, b"9")
    body = cobs.cobs.decode(encode_frame(frame, get_definition())[:-1])
    assert body == b"123456789" + 0xCBF43926.to_bytes(4, "little")


# Examples of the encoding in Wikipedia, "Consistent Overhead Byte Stuffing" (2024), without the
# delimiter that is shown there behind each.
@pytest.mark.parametrize(
    ("data", "encoded"),
    [
        ("00", "01 01"),
        ("00 00", "01 01 01"),
        ("00 11 00", "01 02 11 01"),
        ("11 22 00 33", "03 11 22 02 33"),
        ("11 22 33 44", "05 11 22 33 44"),
        ("11 00 00 00", "02 11 01 01 01"),
        (bytes(range(0x01, 0xFF)).hex(), "FF" + bytes(range(0x01, 0xFF)).hex()),
        ("00" + bytes(range(0x01, 0xFF)).hex(), "01 FF" + bytes(range(0x01, 0xFF)).hex()),
        (bytes(range(0x01, 0x100)).hex(), "FF" + bytes(range(0x01, 0xFF)).hex() + "02 FF"),
        (bytes(range(0x02, 0x100)).hex() + "00", "FF" + bytes(range(0x02, 0x100)).hex() + "01 01"),
        (
            bytes(range(0x03, 0x100)).hex() + "00 01",
            "FE" + bytes(range(0x03, 0x100)).hex() + "02 01",
        ),
    ],
)
def test_cobs_encodes_the_published_examples(data: str, encoded: str) -> None:
    assert ours.encode(bytes.fromhex(data)) == bytes.fromhex(encoded)
    assert ours.decode(bytes.fromhex(encoded)) == bytes.fromhex(data)


def test_cobs_of_254_bytes_takes_255_and_of_255_takes_257() -> None:
    assert len(ours.encode(b"x" * 254)) == 255
    assert len(ours.encode(b"x" * 255)) == 257


# Long runs without zeros are where code bytes of 255 come in.
BYTES = st.one_of(
    st.binary(max_size=600),
    st.lists(
        st.sampled_from([b"\0", b"x" * 252, b"x" * 253, b"x" * 254, b"x" * 255, b"ab"]), max_size=6
    ).map(b"".join),
)


@given(BYTES)
def test_cobs_encodes_and_decodes_as_the_published_package_does(data: bytes) -> None:
    encoded = ours.encode(data)
    assert encoded == cobs.cobs.encode(data)
    assert ours.decode(encoded) == data
    assert 0 not in encoded


@given(BYTES)
def test_cobs_refuses_what_the_published_package_refuses(data: bytes) -> None:
    try:
        expected = cobs.cobs.decode(data)
    except cobs.cobs.DecodeError:
        with pytest.raises(CobsError) as caught:
            ours.decode(data)
        assert caught.value.zero_inside == (0 in data)
    else:
        assert ours.decode(data) == expected
