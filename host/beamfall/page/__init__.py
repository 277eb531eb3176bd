"""The bench page: the rig at a glance in a browser.

serve       the socket and the server's life
app         what can be asked and told over HTTP and WebSocket
guard       checks each request: host, origin, token, sizes; adds the headers that keep other pages out
door        what opens the page: names, token, links that work once
connections how many clients may be connected, and for how long
hub         what all open pages see, numbered; tells them of each change
board_thread  the one thread that owns the board
board_news  what the board says, put on the hub
paced       a transport that can be interrupted, and makes simulated time pass as real time does
listening   a board that tells what it hears while others drive it
jobs        what can be done: each checks what was typed and runs a workflow
work        a job under way on the board's thread
front       the page as a front end of workflows: their steps and questions put on the hub
words       what workflows, board and link have to say, in the words of the page
desk        the rig form, the plan and its timings; needs no board
guided      the guided rig: one question at a time
rig_form    the form of a rig, as fields
drawing     plan and shot as what the page draws
review      the shot log, as the page lists it
camera      where the pictures of new shots come from, chosen on the page
pictures    photographs and simulated pictures of shots
static/     the page itself: our own HTML, CSS and modules; nothing is loaded from elsewhere

Everything that is decided is decided by the library; the modules here carry values to and fro.
"""

from __future__ import annotations
