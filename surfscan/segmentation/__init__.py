"""From prepared pixels to labels and masks."""
