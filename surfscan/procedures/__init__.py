"""One callable per kind of image; the only thing that command line, batch and viewer call."""
