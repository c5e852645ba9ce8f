"""Density, composition, valences and equivalent weight of metals, each with its source and status."""
