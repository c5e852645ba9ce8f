"""Summary tables and the self-contained page of a study."""
