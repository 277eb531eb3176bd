"""What is asked for: the rig, the sequence, units and limits. Everything is checked where it enters."""
