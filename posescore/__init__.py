"""PoseScore: a first-pass score log for sport jiu-jitsu footage, for a person to confirm."""

__version__ = "0.1.0"
