"""Fault finding: evidence in, ranked causes and the next test out."""
