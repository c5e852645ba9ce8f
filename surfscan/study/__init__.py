"""The study manifest, its drafting and checking, and the batch run."""
