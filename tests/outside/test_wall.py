"""The wall of real parts, sampled by libigl, against the certified bounds.

Sampling finds no less than the true least wall, so it may never find less than the certified lower bound; and dense
samples come near the upper one, which a true place attains.
"""

import igl
import numpy as np
import trimesh

from part_sides import Sides

NEAR = 0.01


def sampled_least(sides, from_faces, to_faces, seed):
    mesh = trimesh.Trimesh(sides.points, sides.faces[from_faces], process=False)
    random, _ = trimesh.sample.sample_surface(mesh, 100_000, seed=seed)
    used = sides.points[np.unique(sides.faces[from_faces])]
    squared = igl.point_mesh_squared_distance(np.vstack([random, used]), sides.points, sides.faces[to_faces])[0]
    return np.sqrt(squared.min())


def test_the_sampled_wall_lies_within_the_certified_bounds(each_scan):
    sides = Sides(each_scan)
    assert sides.bore.sum() > 1000 and sides.outside.sum() > 1000
    if each_scan.case["scan"]["form"] == "bore":
        # Judged everywhere, once.
        (row,) = each_scan.limit("wall_min")
        judged = [(row, sides.bore)]
    else:
        rows = {l["end"]: l for l in each_scan.limit("wall_min")}
        ends = [e for e in each_scan.case["end"] if "fitting" in e]
        judged = [(rows[e["name"]], sides.joint(each_scan, e)) for e in ends]
    assert judged
    for row, faces in judged:
        low, high = row["bounds"]
        found = sampled_least(sides, faces & sides.bore, sides.outside, 5)
        assert low - 1e-9 <= found <= high + NEAR, (row["end"], low, high, found)
