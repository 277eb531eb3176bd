"""The only code that touches pins: one package per kind of board."""
