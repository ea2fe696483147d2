"""Write a file beside its target, then put it in its place: a reader never sees half of it."""

import os
from pathlib import Path


def write(path: Path, content: bytes) -> None:
    """Replace the file at path by the content; the old one stays if anything fails before."""
    path.parent.mkdir(parents=True, exist_ok=True)
    partial = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        partial.write_bytes(content)
        os.replace(partial, path)
    finally:
        partial.unlink(missing_ok=True)
