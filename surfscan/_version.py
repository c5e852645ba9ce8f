"""Version of surfscan: the one place it is written."""

__version__ = "0.1.0"
