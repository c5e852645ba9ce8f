"""Electrochemistry: sweeps from file to corrosion rate, each figure with its interval or the reason for none."""
