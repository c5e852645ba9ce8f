"""Figures of different methods beside each other: rates, agreement, lines with errors both ways, limits."""
