"""Readers of open image formats, one file per format, chosen by content."""
