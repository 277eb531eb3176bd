"""Files that are partly generated: what stands between two markers is written again, the rest stays."""

from __future__ import annotations

import re
from collections.abc import Mapping

from beamfall.errors import DefinitionError

_PART = re.compile(
    r"([^\n]*\bgenerated: (?P<name>[a-z]+)[^\n]*\n).*?([^\n]*\bend of generated: (?P=name)\b)",
    re.DOTALL,
)


def fill_parts(text: str, parts: Mapping[str, str], file: str) -> str:
    """Return the text of a file with each of these parts between its markers, `generated: NAME` in a comment.

    Raises DefinitionError, which names `file`, when markers are missing or are of a part that does not exist.
    """
    found: set[str] = set()

    def replace(match: re.Match[str]) -> str:
        name = match["name"]
        if name not in parts:
            raise DefinitionError(f"there is no generated part {name!r}", source=file, entry=name)
        found.add(name)
        return f"{match[1]}{parts[name]}{match[3]}"

    filled = _PART.sub(replace, text)
    if missing := sorted(parts.keys() - found):
        raise DefinitionError(f"the markers of {', '.join(missing)} are missing", source=file)
    return filled
