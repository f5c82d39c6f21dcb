"""OpenCV, imported in one place so that a missing system library is one clear sentence."""

from __future__ import annotations

from posescore.footage.system_libraries import named_when_missing

with named_when_missing("OpenCV"):
    import cv2

__all__ = ["cv2"]
