"""`beamfall shots`: what was fired and what was measured. Each command's module is loaded when it runs."""

from __future__ import annotations

from beamfall.cli.loading import Entry, make_app

COMMANDS = {
    "where": Entry(
        "shots_list", "show_place", "Print the path of the shot log. BEAMFALL_LOG sets another."
    ),
    "list": Entry("shots_list", "list_shots", "List the newest shots."),
    "show": Entry("shots_show", "show_shot", "Show one shot: plan, measured edges and outcome."),
    "note": Entry("shots_change", "note", "Write a shot's note, replacing any earlier one."),
    "rate": Entry("shots_change", "rate", "Rate a shot's picture from 1 to 5."),
    "picture": Entry(
        "shots_change", "picture", "Link a photograph to a shot. For a whole folder: shots match."
    ),
    "export": Entry("shots_change", "export", "Write all edges and settings to files."),
    "mend": Entry("shots_change", "mend", "Rescue the intact shots of a damaged log."),
    "fetch": Entry(
        "shots_change", "fetch", "Fetch and log the shots that the board's button has fired."
    ),
    "repeat": Entry(
        "shots_repeat", "repeat", "Fire a shot's sequence again and compare its edges."
    ),
    "match": Entry("photographs", "match", "Match photographs to shots by their capture times."),
    "catalogue": Entry(
        "photographs", "catalogue", "Exchange ratings and keywords with a photo catalogue (XMP)."
    ),
    "sheet": Entry("photographs", "sheet", "Write a contact sheet as one HTML file."),
}

app = make_app("The shot log: list, rate, export, match photographs.", COMMANDS)
