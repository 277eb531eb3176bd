"""What Beamfall does with a board, step by step, the same for terminal, page and notebook."""
