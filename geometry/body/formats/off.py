"""OFF in words, through trimesh, which would take a file that is cut short for a smaller one."""

import re
from io import BytesIO
from pathlib import Path

from geometry.body.formats import soup
from geometry.body.formats.soup import MeshFile
from geometry.progress import Progress


def read(path: Path, progress: Progress) -> MeshFile:
    """Read an OFF file."""
    from trimesh.exchange.off import load_off

    data = path.read_bytes()
    text = re.sub(rb"#[^\n]*", b"", data)
    head = re.match(rb"\s*C?OFF\s+(\d+)\s+(\d+)[^\n]*\n", text)
    if head is None:
        raise soup.broken(
            path, "is no OFF file in words: its first lines don't say OFF and how many points follow."
        )
    points, faces = int(head.group(1)), int(head.group(2))
    rows = soup.rows(text[head.end() :])
    last = points + faces
    if len(rows) < last or (faces and not soup.is_whole(rows[last - 1])):
        raise soup.broken(path, f"ends too early: it says it holds {points} points and {faces} faces.")
    progress(0.1, f"Reading {path.name}")
    return MeshFile((soup.loaded(path, path.stem, "OFF", load_off, BytesIO(data)),))
