"""The command line: parses, calls, prints; every number comes from the rooms to its left."""

from surfscan.cli.app import main

__all__ = ["main"]
