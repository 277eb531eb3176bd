"""Ideal timing hardware in virtual time, with a simulated rig at its pins."""
