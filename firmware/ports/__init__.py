"""The only code that touches pins: one package a kind of board."""
