"""`beamfall shots`: what was fired and what was measured. Each command's module is loaded when it runs."""

from __future__ import annotations

from beamfall.cli.loading import Entry, make_app

COMMANDS = {
    "where": Entry(
        "beamfall.cli.shots_list",
        "show_place",
        "Print the path of the shot log. To use another, set BEAMFALL_LOG.",
    ),
    "list": Entry("beamfall.cli.shots_list", "list_shots", "List the newest shots."),
    "show": Entry(
        "beamfall.cli.shots_show",
        "show_shot",
        "Show one shot: plan, measured edges and outcome.",
    ),
    "note": Entry(
        "beamfall.cli.shots_keep", "note", "Write a shot's note, replacing any earlier one."
    ),
    "rate": Entry("beamfall.cli.shots_keep", "rate", "Rate a shot's picture from 1 to 5."),
    "picture": Entry(
        "beamfall.cli.shots_keep",
        "picture",
        "Link a photograph to a shot. `beamfall shots match` does it for a whole folder.",
    ),
    "export": Entry(
        "beamfall.cli.shots_export", "export", "Write all edges and settings to files."
    ),
    "mend": Entry("beamfall.cli.shots_mend", "mend", "Rescue the intact shots of a damaged log."),
    "fetch": Entry(
        "beamfall.cli.shots_fetch",
        "fetch",
        "Fetch the shots that the board's button has fired, and log them with their edges.",
    ),
    "repeat": Entry(
        "beamfall.cli.shots_repeat", "repeat", "Fire a shot's sequence again and compare its edges."
    ),
    "match": Entry(
        "beamfall.cli.photographs", "match", "Match photographs to shots by their capture times."
    ),
    "catalogue": Entry(
        "beamfall.cli.photographs",
        "catalogue",
        "Exchange ratings and keywords with a photo catalogue, through XMP.",
    ),
    "sheet": Entry("beamfall.cli.photographs", "sheet", "Write a contact sheet as one HTML file."),
}

app = make_app("The shot log: list, rate, export, match photographs.", COMMANDS)
