"""Files of a library, recognised by their contents."""

from __future__ import annotations

import hashlib
from pathlib import Path


def sha256_of(path: Path) -> str:
    """Hash of a file, lower-case hex."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
