"""The rig at the pins of a simulated board: drops, jets, light, and the truth about them."""
