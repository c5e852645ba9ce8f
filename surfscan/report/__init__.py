"""Summary tables, figures and the self-contained page."""
