"""Mesh arrays in a job: .npy bytes named by their SHA-256; sizes are checked before anything is read."""

import hashlib
import io
import math
from typing import Any

import numpy as np
from numpy.lib import format as npy
from numpy.typing import NDArray

LONGEST_HEADER = 1024  # bytes; ours have 128
KINDS = ("<f8", "<i4")  # vertices and triangles
LARGEST_FILE = 4 << 30  # bytes; a mesh of a hundred million triangles would be smaller


def packed(array: NDArray[Any]) -> tuple[str, bytes]:
    """Return an (n, 3) array as the SHA-256 of its .npy bytes, and these bytes."""
    kind = "<f8" if np.issubdtype(array.dtype, np.floating) else "<i4"
    plain = np.ascontiguousarray(array, dtype=kind)
    stream = io.BytesIO()
    npy.write_array(stream, plain, version=(1, 0), allow_pickle=False)
    content = stream.getvalue()
    return hashlib.sha256(content).hexdigest(), content


def read_header(start: bytes, size: int) -> tuple[str, tuple[int, int], int]:
    """Return kind, shape and offset of the data of a .npy file from its first bytes and whole size.

    Raises ValueError unless it is an (n, 3) array of a known kind that fills the size exactly.
    """
    stream = io.BytesIO(start)
    if size > LARGEST_FILE or npy.read_magic(stream) != (1, 0):
        raise ValueError("not a mesh array")
    shape, is_fortran, dtype = npy.read_array_header_1_0(stream, max_header_size=LONGEST_HEADER)
    if is_fortran or dtype.str not in KINDS or len(shape) != 2 or shape[1] != 3:
        raise ValueError(f"not a mesh array: {dtype} {shape}")
    if stream.tell() + math.prod(shape) * dtype.itemsize != size:
        raise ValueError(f"an array of {shape} does not fill {size} bytes")
    return dtype.str, (shape[0], 3), stream.tell()


def unpacked(name: str, content: bytes) -> NDArray[Any]:
    """Return the read-only array in .npy bytes; ValueError unless they have the SHA-256 they are named by."""
    kind, shape, offset = read_header(content[: LONGEST_HEADER * 2], len(content))
    if hashlib.sha256(content).hexdigest() != name:
        raise ValueError(f"the content is not what {name} was")
    return np.frombuffer(content, dtype=kind, offset=offset).reshape(shape)
