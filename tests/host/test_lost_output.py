"""Output goes to a full disk, a closed stream or a pipe without a reader: there is one message, never a traceback."""

from __future__ import annotations

import errno
import io
import sys

import pytest

from beamfall.cli import main
from beamfall.fault_report import BUG


class FullDisk(io.StringIO):
    """A stdout on a full disk; it keeps what it can until it is flushed, as Python's own does."""

    def __init__(self, number: int) -> None:
        super().__init__()
        self.number = number

    def flush(self) -> None:
        raise OSError(self.number, "no room")


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EIO, errno.EBADF])
def test_a_full_disk_under_stdout_is_said(
    number: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    full = FullDisk(number)
    monkeypatch.setattr(sys, "stdout", full)
    assert main(["ports"]) == 1
    words = capsys.readouterr().err
    assert words.count("beamfall:") == 1 and BUG not in words
    full.close()


def test_a_stdout_that_is_closed_from_the_start_stops_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sys, "stdout", None)
    assert main(["ports"]) == 0
