"""The framer finds the same frames however the stream is chopped, and holds little of it."""

from __future__ import annotations

from collections.abc import Sequence

from hypothesis import given
from hypothesis import strategies as st

from beamfall.wire import (
    Frame,
    FrameError,
    FrameErrorName,
    Framer,
    decode_frame,
    encode_frame,
    get_definition,
)

DEFINITION = get_definition()
IDS = sorted(DEFINITION.by_id)

FRAMES = st.builds(
    Frame,
    st.just(DEFINITION.protocol),
    st.sampled_from(IDS),
    st.integers(0, 0xFFFF),
    st.integers(0, 0xFFFFFFFF),
    st.binary(max_size=DEFINITION.frame.payload_max),
)


def chop(data: bytes, cuts: Sequence[int]) -> list[bytes]:
    places = [0, *sorted(cut % (len(data) + 1) for cut in cuts), len(data)]
    return [data[a:b] for a, b in zip(places, places[1:], strict=False)]


@given(st.lists(FRAMES, max_size=5), st.lists(st.integers(0, 5000), max_size=20))
def test_frames_come_out_as_they_went_in_however_chopped(
    frames: list[Frame], cuts: list[int]
) -> None:
    line = b"".join(encode_frame(frame, DEFINITION) for frame in frames)
    framer = Framer(DEFINITION)
    found = [item for part in chop(line, cuts) for item in framer.feed(part)]
    assert found == frames
    assert framer.pending == b""


@given(FRAMES)
def test_a_frame_keeps_to_the_longest_size(frame: Frame) -> None:
    line = encode_frame(frame, DEFINITION)
    assert len(line) <= DEFINITION.frame.frame_max
    assert line.index(0) == len(line) - 1


@given(
    st.lists(st.one_of(st.binary(max_size=700), FRAMES), max_size=6),
    st.lists(st.integers(0, 5000), max_size=20),
)
def test_garbage_gives_the_same_whole_or_chopped_and_is_never_held(
    pieces: list[bytes | Frame], cuts: list[int]
) -> None:
    line = b"".join(
        piece if isinstance(piece, bytes) else b"\0" + encode_frame(piece, DEFINITION)
        for piece in pieces
    )
    whole = Framer(DEFINITION).feed(line)
    framer = Framer(DEFINITION)
    found = []
    for part in chop(line, cuts):
        found += framer.feed(part)
        assert len(framer.pending) < DEFINITION.frame.frame_max
    assert found == whole
    # each frame behind its own delimiter survives whatever stood before it
    expected = [piece for piece in pieces if isinstance(piece, Frame)]
    good = [item for item in found if isinstance(item, Frame)]
    assert [frame for frame in good if frame in expected] == expected


def test_a_stream_with_no_delimiter_is_not_kept() -> None:
    framer = Framer(DEFINITION)
    for _ in range(1000):
        assert framer.feed(b"x" * 1000) == []
        assert len(framer.pending) == DEFINITION.frame.frame_max - 1
    (error,) = framer.feed(b"\0")
    assert isinstance(error, FrameError)
    assert error.name is FrameErrorName.OVER_LONG
    assert "1000000" in error.detail
    frame = Frame(DEFINITION.protocol, 2, 1, 1, b"")
    assert framer.feed(encode_frame(frame, DEFINITION)) == [frame]


@given(FRAMES, st.integers(0), st.integers(1, 255))
def test_a_damaged_byte_never_passes_for_a_frame(frame: Frame, at: int, change: int) -> None:
    block = bytearray(encode_frame(frame, DEFINITION)[:-1])
    block[at % len(block)] ^= change
    found = decode_frame(bytes(block), DEFINITION)
    assert isinstance(found, FrameError)
    assert found.frame is None
