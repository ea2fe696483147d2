"""OFF in words."""

import re
from pathlib import Path

from geometry.body.formats import soup
from geometry.body.formats.soup import MeshFile, Soup
from geometry.progress import Progress


def read(path: Path, progress: Progress) -> MeshFile:
    """Read an OFF file."""
    text = re.sub(rb"#[^\n]*", b"", path.read_bytes())
    head = re.match(rb"\s*(\w*OFF)\s+(\d+)\s+(\d+)(?:[ \t]+\d+)?[ \t]*\r?\n", text)
    if head is None or head.group(1) != b"OFF":
        raise soup.broken(
            path, "is no OFF file in words: its first lines don't say OFF and how many points follow."
        )
    points, count = int(head.group(2)), int(head.group(3))
    lines = [line for line in text[head.end() :].splitlines() if line.strip()]
    if len(lines) < points + count:
        raise soup.broken(path, f"ends too early: it says it holds {points} points and {count} faces.")
    progress(0.2, f"Reading {path.name}")
    vertices = soup.numbers(path, b"\n".join(lines[:points]), points, 3)
    progress(0.4, f"Reading {path.name}")
    corners, sizes = soup.counted_rows(path, lines[points : points + count])
    if len(corners) and (corners.min() < 0 or corners.max() >= points):
        raise soup.broken(path, "has a face that names a point the file doesn't hold.")
    return MeshFile((Soup(path.stem, vertices, soup.fans(corners, sizes)),))
