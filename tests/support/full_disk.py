"""A disk that fills under a write: the system's own limit on the size of a file, as `ulimit -f` sets it."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

import pytest


@contextlib.contextmanager
def full_disk(most: int = 0) -> Iterator[None]:
    """Inside the block no file may grow beyond `most` bytes: writing gives EFBIG, because Python ignores SIGXFSZ."""
    resource = pytest.importorskip(
        "resource", reason="needs a limit on the size of files, which Windows lacks"
    )
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (most, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
