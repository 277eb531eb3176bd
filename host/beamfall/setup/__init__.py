"""What is asked for: the rig, the sequence, units and limits. Checked where it enters."""
