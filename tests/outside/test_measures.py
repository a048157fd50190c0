"""Deviation and bore area of the parts, sampled by libraries, against spile's guaranteed bounds."""

import igl
import numpy as np
import trimesh

from part_sides import Sides
from stl_reading import keys, welded
from test_untouched import heights

# Sampling finds less than the true maximum, so only rounding needs room.
ROUNDING = 1e-9


def sampled(corners, count, seed):
    points, faces = welded(corners)
    mesh = trimesh.Trimesh(points, faces, process=False)
    random, _ = trimesh.sample.sample_surface(mesh, count, seed=seed)
    return np.vstack([random, points])


def distances(points, corners):
    vertices, faces = welded(corners)
    squared = igl.point_mesh_squared_distance(points, vertices, faces)[0]
    return np.sqrt(squared)


def plane_of(end):
    """The end's cut; at a rim the plane square to its direction through the lowest point of its seams."""
    if "cut" in end:
        return end
    facing = np.array(end["facing"]) / np.linalg.norm(end["facing"])
    seams = np.array([p for side in ("bore", "outside") for p in end["seam"].get(side, [])])
    return {"cut": {"through": seams[(seams @ facing).argmin()], "facing": facing}}


def test_no_sampled_deviation_exceeds_the_guaranteed_bound(each_scan):
    deviations = each_scan.limit("deviation")
    assert deviations
    highest = max(l["bounds"][1] for l in deviations if l["bounds"])
    scan, part = np.concatenate(each_scan.scans), each_scan.part
    in_scan, in_part = set(keys(scan)), set(keys(part))
    sides = Sides(each_scan)
    # Rings and far faces replace nothing.
    new = part[[k not in in_scan for k in keys(part)] & (sides.bore | sides.outside)]
    gone = scan[[k not in in_part for k in keys(scan)]]
    limit = each_scan.case["limits"]["deviation"]
    looked = 0
    for end in each_scan.case["end"]:
        if "reach" not in end:
            continue
        plane = plane_of(end)
        through = np.array(plane["cut"]["through"])
        # Clear of the seam by the deviation it may stray, and within reach of this end.
        below = lambda c: ((heights(plane, c) < -2 * limit) & (heights(plane, c) > -end["reach"])).all(axis=1)
        replacing, replaced = new[below(new)], gone[below(gone)]
        near = np.linalg.norm(replacing - through, axis=2).max(axis=1) < 3 * end["reach"]
        replacing = replacing[near]
        if each_scan.case["scan"]["form"] == "bore":
            # The made outside replaces nothing: leave out what lies half a wall off the scan.
            middle = replacing.mean(axis=1)
            replacing = replacing[distances(middle.astype(float), scan) < each_scan.case["scan"]["wall"] / 2]
        near = np.linalg.norm(replaced - through, axis=2).max(axis=1) < 3 * end["reach"]
        replaced = replaced[near]
        looked += len(replacing) + len(replaced)
        assert distances(sampled(replacing, 20_000, 1), scan).max() <= highest + ROUNDING
        assert distances(sampled(replaced, 20_000, 2), part).max() <= highest + ROUNDING
    if any("reach" in e for e in each_scan.case["end"]):
        assert looked > 100


def loop_area(points, normal):
    about = points.mean(axis=0)
    turned = np.cross(points[:-1] - about, points[1:] - about)
    return abs(0.5 * turned.sum(axis=0) @ normal)


def encloses(points, at, normal):
    """Winding number of a closed loop about a point of its plane."""
    u = np.cross(normal, [1.0, 0, 0] if abs(normal[0]) < 0.7 else [0, 1.0, 0])
    u /= np.linalg.norm(u)
    v = np.cross(normal, u)
    angles = np.unwrap(np.arctan2((points - at) @ v, (points - at) @ u))
    return abs(angles[-1] - angles[0]) > np.pi


def test_bore_sections_have_the_area_that_trimesh_finds(each_scan):
    points, faces = welded(each_scan.part)
    mesh = trimesh.Trimesh(points, faces, process=False)
    looked = 0
    for end in each_scan.proof["ends"]:
        for station in end["stations"][::4]:
            if station["area_part"] is None:
                continue
            found = area_round(mesh, station)
            assert found, f"no loop round {station['at']}"
            assert abs(found / station["area_part"] - 1) < 1e-6
            looked += 1
    assert looked >= 5


def area_round(mesh, station):
    """Area of the smallest closed loop of a section round its station; none if no loop closes."""
    at, normal = np.array(station["at"]), np.array(station["normal"])
    section = mesh.section(plane_normal=normal, plane_origin=at)
    loops = [l for l in section.discrete if len(l) > 3 and np.allclose(l[0], l[-1])] if section else []
    return min((loop_area(l, normal) for l in loops if encloses(l, at, normal)), default=None)


def test_the_scans_sections_have_the_area_that_trimesh_finds(each_scan):
    meshes = [trimesh.Trimesh(*welded(scan), process=False) for scan in each_scan.scans]
    looked = 0
    for end in each_scan.proof["ends"]:
        for station in end["stations"][::2]:
            if station["area_scan"] is None:
                continue
            # Of two sheets the inner one has the smaller loop.
            found = [a for a in (area_round(mesh, station) for mesh in meshes) if a]
            assert found, f"no loop round {station['at']}"
            assert abs(min(found) / station["area_scan"] - 1) < 1e-6
            looked += 1
    assert looked >= 5
