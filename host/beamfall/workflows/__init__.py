"""What is done at the rig, each thing once, for the terminal, the page and Python programs.

steps       what workflows yield: things to do, questions, news
run         who carries the steps out; the protocol of front ends
series      the shooter, which fires with a log
waits       when the surface has settled and the flash recycled
shoot sweep seek calibrate repeat check service     the workflows
simulated   what only a simulated rig can tell
"""

from __future__ import annotations
