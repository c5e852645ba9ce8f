"""From raw scale tags to a pixel size with its uncertainty."""
