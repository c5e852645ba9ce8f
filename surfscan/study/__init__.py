"""The study: its manifest `study.toml`, drafting and checking it, and the batch run."""
