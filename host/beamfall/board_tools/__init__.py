"""What a board needs now and then: firmware put on it, its timing measured, its state shown."""

from __future__ import annotations
