"""How the kernel's time compares with libigl's, in the same minutes, on one thread.

`cargo xtask bench --kernel` runs it: kernel_ratios.py PROGRAM STL FOLDER. The distances must agree, or it fails.
"""

import json
import os
import pathlib
import subprocess
import sys
import time

os.environ["IGL_NUM_THREADS"] = "1"

import igl  # noqa: E402
import numpy as np  # noqa: E402

from stl_reading import read_stl, welded  # noqa: E402

PLACES = 100_000
RUNS = 3
# Two roundings of a squared distance and one of its root, with room.
ROUNDING = 1e-7


def places(points):
    """Half near the surface, half anywhere in its box; seeded."""
    rng = np.random.default_rng(1)
    near = points[rng.integers(len(points), size=PLACES // 2)] + rng.normal(scale=0.5, size=(PLACES // 2, 3))
    away = rng.uniform(points.min(axis=0), points.max(axis=0), size=(PLACES - len(near), 3))
    return np.vstack([near, away])


def main(program, stl, folder):
    points, triangles = welded(read_stl(pathlib.Path(stl)))
    asked = places(points)
    named = [os.path.join(folder, name) for name in ("places.f64", "distances.f64")]
    asked.tofile(named[0])
    ours, theirs_s = {}, float("inf")
    for _ in range(RUNS):
        environment = {**os.environ, "RAYON_NUM_THREADS": "1"}
        said = subprocess.run([program, stl, *named], env=environment, check=True, stdout=subprocess.PIPE)
        said = json.loads(said.stdout)
        ours = {key: min(value, ours.get(key, value)) for key, value in said.items()}
        start = time.process_time()
        squared = igl.point_mesh_squared_distance(asked, points, triangles)[0]
        theirs_s = min(theirs_s, time.process_time() - start)
    off = np.abs(np.fromfile(named[1]) - np.sqrt(np.maximum(squared, 0.0))).max()
    if not off < ROUNDING * np.ptp(points, axis=0).max():
        sys.exit(f"error: the distances differ by up to {off}")
    ours_s = ours["build_s"] + ours["closest_s"]
    print(f"{ours['triangles']} triangles, {ours['places']} places; processor seconds, least of {RUNS}")
    print(f"closest points, tree included: {ours_s:.3f} (libigl {theirs_s:.3f}); ratio {ours_s / theirs_s:.2f}")
    print(f"  of it the tree: {ours['build_s']:.3f}; distances agree within {off:.1e}")
    print(f"reading STL: {ours['read_s']:.4f} (a copy of its bytes {ours['copy_s']:.4f}); "
          f"ratio {ours['read_s'] / ours['copy_s']:.1f}")


if __name__ == "__main__":
    main(*sys.argv[1:])
