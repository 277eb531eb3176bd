"""Makes the generated parts of host/beamfall/setup/signals.py: the signals of messages.toml as types."""

from __future__ import annotations

import json

from beamfall.wire.parts import fill_parts
from beamfall.wire.schema import Definition


def render_signal_module(definition: Definition, text: str) -> str:
    """Return signals.py with its members written again; raises DefinitionError if a marker is missing."""
    kinds = [
        f"    {kind.name.upper()} = ({_quote(kind.name)}, {kind.output})\n"
        for kind in definition.signal_kinds
    ]
    signals = []
    for one in definition.signals:
        words = [_quote(one.meaning), *([_quote(one.formerly)] if one.formerly else [])]
        signals.append(
            f"    {one.name} = ({one.value}, SignalKind.{one.kind.upper()}, {one.number}, "
            f"{', '.join(words)})\n"
        )
    parts = {"kinds": "".join(kinds), "signals": "".join(signals)}
    return fill_parts(text, parts, "signals.py")


def _quote(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
