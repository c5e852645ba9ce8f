"""Results and masks on disk."""
