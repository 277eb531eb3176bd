"""Photographs: when they were taken, and which shot each of them shows. No picture is ever altered."""
