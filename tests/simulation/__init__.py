"""Tests of the simulation room. Triton's kernels run by its interpreter, on any processor."""

import os

os.environ.setdefault("TRITON_INTERPRET", "1")
