"""Photographs: when they were taken, and which shot each of them shows. No picture is ever altered.

exif     capture time, exposure and camera of a file
folder   the pictures of a folder
groups   a folder's pictures cut where hours lie between them
clock    how the camera's clock lies to the log's, from the pattern of intervals
match    pictures and shots, with how sure each pair is
sheet    a contact sheet in one HTML file
"""

from __future__ import annotations

from beamfall.photos.folder import Folder, read_folder
from beamfall.photos.match import CameraMatch, Pair, match_pictures

__all__ = ["CameraMatch", "Folder", "Pair", "match_pictures", "read_folder"]
