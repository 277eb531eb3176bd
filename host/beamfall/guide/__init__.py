"""The guided rig: one question at a time, until the answers make a whole rig file.

questions   what is asked, in order: words, the part of the drawing, a starting value
readings    answers in the units people think in, to values of a rig file
remarks     what follows from an answer, and what is doubtful about a rig
walk        the answers so far, the next question, and the rig file they make
drawing     the rig, with the asked measure marked
"""
