"""Fault finding: evidence in, ranked causes and the next test out.

catalogue   what is known, in catalogue.toml: causes, what tests can show under each, questions, advice
signs       what a test can show, and the chance of each outcome under each cause
questions   a question to the person, and who answers
setup       which lines and timings are looked at, and what physics expects there
origin      where the timings that are checked come from
timings     the timings that the board was really fired with, from the log
aside       the board listened to while a person sits at a prompt
fault_rig   board, setup and person together
evidence    what the board can see for itself, put into outcomes
checks      the tests: what the board does, what the person is asked
inference   Bayes over single causes and pairs; which test next
finder      the loop of them
session     one fault finding from the port to the finding
advice      what to do about what was found
"""

from __future__ import annotations
