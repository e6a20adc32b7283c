"""Foam Readiness: is the foam on each rig the right one, in date, and enough for the spill it is planned for."""
