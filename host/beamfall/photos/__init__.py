"""Photographs: when they were taken, and which shot each of them shows. No picture is ever altered.

exif     capture time, exposure and camera of a file
folder   the pictures of a folder
groups   a folder's pictures cut where hours lie between them
clock    offset and drift of the camera's clock from the log's, from the pattern of intervals
match    pictures and shots, with how sure each pair is
sheet    a contact sheet in one HTML file
arrival  pictures that arrive while shots are fired: which one shows the shot just fired
xmp      the packet that photo catalogues read, in a sidecar or inside a JPEG
catalogue  what is exchanged between the log and such a packet
sources  where they come from: a camera, a folder that another program fills, the port's own camera
"""
