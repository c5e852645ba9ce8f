"""From labels to tidy tables."""
