"""The handbook: short pages in Markdown, for the terminal (`beamfall help TOPIC`) and for the page.

A page is a file beside this one. Two are made from what they describe when they are read: `rig-file` from the keys of a
rig file, and `commands` from the command line, which sets `MADE`. Commands in ```console blocks are run by a test.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from beamfall.errors import UserError
from beamfall.setup.rig_tables import TABLES, RigKey, list_all_keys
from beamfall.setup.units import quote

FOLDER = Path(__file__).parent
#: Drawn by the tool itself on the simulated rig (`.ci/handbook_pictures.py`); the pages show them. Charts are PNG.
PICTURES = (
    "search.jpg", "umbrella.jpg", "liquids.jpg", "one-drop.jpg", "two-flashes.jpg", "measured.jpg", "plan.png",
    "shot.png", "no-flash.png", "control.png", "three-drops.png", "sequence.png",
)  # fmt: skip
#: The guide's drawing of a rig, by the name that pages give it, with the measure that it marks.
DRAWINGS = {"rig.svg": "height", "beam.svg": "beam"}
RIG_FILE, COMMANDS = "rig-file", "commands"
#: The topics, in the order in which a beginner reads them.
TOPICS = (
    "first-evening", "beam", "first-umbrella", "nothing-flashes", "repeatable", "recipes", "liquids", "one-drop",
    "three-drops", "flashes", "pictures", "table-by-hand", "without-laptop", RIG_FILE, COMMANDS, "glossary",
)  # fmt: skip


def read_topic(name: str) -> str:
    """Return a page in Markdown. Raises UserError for a topic that the handbook does not have."""
    wanted = name.strip().lower().replace(" ", "-").replace("_", "-")
    fitting = [topic for topic in TOPICS if topic == wanted] or [
        topic for topic in TOPICS if wanted and wanted in topic
    ]
    if len(fitting) != 1:
        raise UserError(
            f"The handbook has no page {quote(name)}. Its pages are {', '.join(TOPICS)}"
        )
    if fitting[0] in MADE:
        return MADE[fitting[0]]()
    return (FOLDER / f"{fitting[0]}.md").read_text(encoding="utf-8")


def find_title(text: str) -> str:
    """The title of a page: its first heading."""
    return text.partition("\n")[0].lstrip("# ")


def describe_rig_file() -> str:
    """Return the page about the rig file: every key, from its definition."""
    lines = [
        "# The rig file",
        "",
        'A rig file is text in TOML. Quantities are text with a unit (`height = "62 cm"`); numbers need no quotes. '
        "`beamfall rig new` makes one, `beamfall rig check` looks for what is missing or doubtful.",
    ]
    keys = list_all_keys()
    lines += ["", "## At the top", "", *_list_keys([key for key in keys if not key.table])]
    for table in TABLES:
        title = f"[[{table.name}]]" if table.many else f"[{table.name}]"
        lines += ["", f"## {title}", "", table.meaning, ""]
        lines += _list_keys([key for key in keys if key.table == table.name])
    return "\n".join(lines) + "\n"


def _list_keys(keys: list[RigKey]) -> list[str]:
    return [
        f"- `{key.key}`: {key.meaning}; {key.expected}; "
        + ("required." if key.needed else f"default {key.default}." if key.default else "optional.")
        for key in keys
    ]


#: Pages that are made when they are read.
MADE: dict[str, Callable[[], str]] = {
    RIG_FILE: describe_rig_file,
    COMMANDS: lambda: "# Commands\n\n`beamfall --help` lists them.\n",
}
