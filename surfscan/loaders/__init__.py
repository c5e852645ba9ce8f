"""Image loaders: one file per format, found by entry point, chosen by what the file holds."""

from surfscan.loaders.base import MAX_DECODED_BYTES, MAX_PIXELS, LoadedImage, Loader, ScaleTag
from surfscan.loaders.registry import find_loaders, load

__all__ = ["MAX_DECODED_BYTES", "MAX_PIXELS", "LoadedImage", "Loader", "ScaleTag", "find_loaders", "load"]
