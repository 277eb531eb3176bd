"""Everything that is done at the rig, written once for the terminal, the page and Python programs.

steps       what workflows yield: things to do, questions, news; the protocol of front ends
run         carries the steps out; has the front end of Python programs
series      the shooter, which fires with a log
waits       when the surface has settled and the flash recycled
shoot sweep seek calibrate repeat check service     the workflows
"""

from __future__ import annotations
