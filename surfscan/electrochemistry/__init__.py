"""Electrochemistry: sweeps from file to corrosion rate, each with its interval or the reason for none."""
