"""Find the collision on a simulated rig from plain Python: you answer for the pictures, as a photographer would."""

from beamfall.board import Board
from beamfall.setup.rig import example_rig
from beamfall.shots import ShotLog
from beamfall.workflows.run import PythonFrontEnd, run
from beamfall.workflows.seek import seek
from beamfall.workflows.seek_steps import WhatIsSeen


def look(question: WhatIsSeen) -> str:
    """Say what the picture shows; on a real rig: `return input("What does the picture show? ")`."""
    truth = question.fired.record.truth or {}
    return str(truth["pictures"][0]["shows"])


rig = example_rig()
with ShotLog.open() as log, Board.connect("sim?seed=6", rig=rig) as board:
    done = run(seek(rig, board, most=12), board, log, PythonFrontEnd(look))
for shot in done.shots:
    print(f"shot {shot.fired.shot}: {shot.aim.delay_s * 1e3:.2f} ms, {shot.answer}")
