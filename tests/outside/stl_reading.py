"""Binary STL in and out, by the format's text alone (check-values 3.2)."""

import struct

import numpy as np

RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def read_stl(path):
    """The corners of each triangle as float32, shape (n, 3, 3)."""
    data = path.read_bytes()
    (count,) = struct.unpack_from("<I", data, 80)
    assert len(data) == 84 + 50 * count, f"{path}: {len(data)} bytes for {count} triangles"
    return np.frombuffer(data, RECORD, count, 84)["corners"].copy()


def write_stl(path, corners):
    """Writes corners of shape (n, 3, 3)."""
    records = np.zeros(len(corners), RECORD)
    records["corners"] = corners
    path.write_bytes(bytes(80) + struct.pack("<I", len(corners)) + records.tobytes())


def keys(corners):
    """One bytes object a triangle that depends on its corners' bits only, not on their order."""
    bits = (corners + np.float32(0)).view("<u4").reshape(len(corners), 3, 3)
    order = np.lexsort((bits[:, :, 2], bits[:, :, 1], bits[:, :, 0]), axis=1)
    bits = np.take_along_axis(bits, order[:, :, None], axis=1)
    return [row.tobytes() for row in bits.reshape(len(bits), 9)]


def welded(corners):
    """Points and faces, points merged by identity only."""
    flat = (corners + np.float32(0)).reshape(-1, 3)
    points, inverse = np.unique(flat, axis=0, return_inverse=True)
    return points.astype(np.float64), inverse.reshape(-1, 3).astype(np.int64)
