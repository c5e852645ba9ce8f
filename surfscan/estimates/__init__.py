"""From tables to estimates with intervals."""
