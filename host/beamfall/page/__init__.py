"""The bench page: the rig at a glance in a browser.

serve       the socket and the server's life
app         the paths over HTTP and WebSocket
guard       checks each request: host, origin, token, sizes; adds the headers that keep other pages out
door        what opens the page: names, token, links that work once
connections how many clients may be connected, and for how long
hub         what all open pages see, numbered; sends them each change
board_thread  the one thread that owns the board
board_news  puts the board's reports on the hub
paced       a transport that can be interrupted, and makes simulated time pass at the speed of real time
listening   a board that passes on what it hears while others drive it
jobs        the jobs: each checks what was typed and runs a workflow
work        a job that runs on the board's thread
front       the page as a front end of workflows: puts their steps and questions on the hub
words       what workflows, board and link report, in the words of the page
desk        the rig form, the plan and its timings; needs no board
guided      the guided rig: one question at a time
rig_form    the form of a rig, as fields
drawing     plan and shot as what the page draws
review      the shot log, as the page lists it
camera      where the pictures of new shots come from, chosen on the page
pictures    photographs and simulated pictures of shots
static/     the page itself: our own HTML, CSS and modules; nothing is loaded from elsewhere

The library makes all decisions; the modules here only carry values back and forth.
"""

from __future__ import annotations
