"""The sequence table on the wire: its digest, and the messages that upload it."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from beamfall.wire.messages import Codec, Message

DIGEST_SIZE = 16


@dataclass(frozen=True, slots=True)
class TableMessages:
    """Everything needed to upload one table: its digest and the requests, in order."""

    digest: bytes
    requests: tuple[Message, ...]


def compute_table_digest(codec: Codec, settings: Mapping[str, Any], rows: Sequence[Any]) -> bytes:
    """Return the digest of a table: 16 bytes of SHA-256 over its settings and its rows.

    `settings` are the fields of table_begin without `digest` and `rows`; `rows` are records `row`
    in the order in which the board gets them. Raises MessageError if a value does not fit.
    """
    begin = _make_begin(bytes(DIGEST_SIZE), settings, rows)
    content = codec.encode(begin)[DIGEST_SIZE:] + codec.encode_records("row", rows)
    return hashlib.sha256(content).digest()[:DIGEST_SIZE]


def make_table_messages(
    codec: Codec, settings: Mapping[str, Any], rows: Sequence[Any]
) -> TableMessages:
    """Return table_begin, the parts and table_commit for a table; arguments as for the digest."""
    digest = compute_table_digest(codec, settings, rows)
    part = codec.definition.limits.rows_per_part
    requests = [_make_begin(digest, settings, rows)]
    for first in range(0, len(rows), part):
        requests.append(
            Message("table_rows", {"first": first, "rows": tuple(rows[first : first + part])})
        )
    requests.append(Message("table_commit", {}))
    return TableMessages(digest, tuple(requests))


def _make_begin(digest: bytes, settings: Mapping[str, Any], rows: Sequence[Any]) -> Message:
    return Message("table_begin", {"digest": digest, "rows": len(rows), **settings})
