"""One file to drop on a board: MicroPython's image with the firmware in its file system."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Any

import littlefs
import pytest
from interpreter_image import FLASH, RP2040, RP2350, SIZE, START, make_interpreter

from beamfall.board_tools.bundle import LIST, make_bundle
from beamfall.board_tools.errors import ImageError, ImageProblem
from beamfall.board_tools.image import make_image, read_image
from beamfall.board_tools.uf2 import PAGE, read_blocks, write_blocks
from beamfall.errors import UserError
from beamfall.setup.board_profiles import find_profile

RISCV, ABSOLUTE = 0xE48BFF5A, 0xE48BFF57


def read_system(joined: bytes, family: int) -> dict[str, bytes]:
    """The files in the file system of a joined image."""
    pages = {
        block.address: block.data
        for block in read_blocks(joined, "joined")
        if block.family == family
    }
    system: Any = littlefs.LittleFS(
        block_size=4096, block_count=SIZE // 4096, prog_size=256, mount=False
    )
    system.context.buffer = bytearray(b"".join(pages[START + at] for at in range(0, SIZE, PAGE)))
    system.mount()
    return {
        f"{folder}/{name}".lstrip("/"): system.open(f"{folder}/{name}", "rb").read()
        for folder, _, names in system.walk("/")
        for name in names
    }


@pytest.mark.parametrize(
    ("family", "profile", "architecture"),
    [(RP2040, "pico", 4), (RP2350, "pico2", 7), (RISCV, "pico2", 11)],
)
def test_the_joined_file_holds_the_interpreter_and_the_firmware(
    tmp_path: Path, family: int, profile: str, architecture: int
) -> None:
    source, target = tmp_path / "micropython.uf2", tmp_path / "joined.uf2"
    # The workaround for erratum RP2350-E10 is a block of another family at the start; it stays.
    extra = write_blocks({FLASH + 0xFFFF00: b"\xef" * PAGE}, ABSOLUTE)
    source.write_bytes(extra + make_interpreter(family))
    report = make_image(source, target)
    assert report.profile.module == profile
    joined = target.read_bytes()
    assert joined.startswith(extra)
    bundle = make_bundle(find_profile(profile), 6 | 3 << 8 | architecture << 10)
    files = read_system(joined, family)
    assert {path: files[path] for path in bundle.files} == bundle.files
    assert set(files) == {*bundle.files, LIST}
    before = {block.address: block.data for block in read_blocks(make_interpreter(family), "")}
    after = {
        block.address: block.data for block in read_blocks(joined, "") if block.family == family
    }
    assert {address: after[address] for address in before} == before
    # Every sector of the file system is written whole: an old superblock with a higher revision must not survive.
    assert set(after) == {*before, *range(START, START + SIZE, PAGE)}


def test_blocks_are_numbered_for_the_boot_loader() -> None:
    blocks = read_blocks(make_interpreter(), "")
    assert [struct.unpack_from("<2I", one.raw, 20) for one in blocks] == [
        (n, 48) for n in range(48)
    ]


@pytest.mark.parametrize(
    ("content", "problem", "named"),
    [
        (b"", ImageProblem.NOT_UF2, "512"),
        (b"MicroPython" * 100, ImageProblem.NOT_UF2, "512"),
        (bytes(512), ImageProblem.NOT_UF2, "block 0"),
        (make_interpreter(0x12345678), ImageProblem.OTHER_CHIP, "RP2350"),
        (make_interpreter(version=b"1.19.1"), ImageProblem.TOO_OLD, r"1\.19.*1\.20"),
        (
            write_blocks({FLASH: bytes(PAGE)}, RP2040),
            ImageProblem.NOT_MICROPYTHON,
            "micropython.org",
        ),
    ],
)
def test_a_file_that_is_no_interpreter_is_refused(
    content: bytes, problem: ImageProblem, named: str
) -> None:
    with pytest.raises(ImageError, match=f"^it .*{named}") as caught:
        read_image(content, "it")
    assert caught.value.problem is problem


def test_an_image_that_points_nowhere_is_refused() -> None:
    """Whatever a damaged file says about itself, there is a clear error and nothing else."""
    good = bytearray(make_interpreter())
    for at in (0x110 + 4, 0x110 + 8, 0x2000, 0x2204, 0x2208, 0x220C):
        for value in (0, 0xFFFFFFFF, FLASH + 0x2FFF, 3):
            spoiled = bytearray(good)
            block, inside = divmod(at, PAGE)
            struct.pack_into("<I", spoiled, 512 * block + 32 + inside, value)
            try:
                read_image(bytes(spoiled), "it")
            except ImageError:
                continue


def test_a_profile_must_fit_and_an_unknown_board_must_be_named(tmp_path: Path) -> None:
    source = tmp_path / "micropython.uf2"
    source.write_bytes(make_interpreter(machine=b"Somebody's board with RP2040"))
    with pytest.raises(UserError, match="--board"):
        make_image(source, tmp_path / "out.uf2")
    with pytest.raises(UserError, match="rp2350"):
        make_image(source, tmp_path / "out.uf2", "pico2")
    assert not (tmp_path / "out.uf2").exists()
    assert make_image(source, tmp_path / "out.uf2", "pico").profile.module == "pico"


def test_what_the_file_system_cannot_hold_is_refused(tmp_path: Path) -> None:
    content = bytearray(make_interpreter())
    struct.pack_into("<I", content, 512 * 0x22 + 32 + 12, 8 * 4096)  # the block device's size
    source = tmp_path / "micropython.uf2"
    source.write_bytes(content)
    with pytest.raises(ImageError) as caught:
        make_image(source, tmp_path / "out.uf2")
    assert caught.value.problem is ImageProblem.NO_ROOM
    assert not (tmp_path / "out.uf2").exists()


def test_a_file_that_is_far_too_large_is_refused_before_it_fills_memory(tmp_path: Path) -> None:
    large = tmp_path / "micropython.uf2"
    with large.open("wb") as stream:
        stream.truncate(3 << 30)
    with pytest.raises(ImageError):
        make_image(large, tmp_path / "joined.uf2")
