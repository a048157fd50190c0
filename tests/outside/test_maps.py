"""Measures of real parts (`measures` in proof.json) against trimesh, libigl and SciPy on the part as written."""

import igl
import numpy as np
import pytest
import trimesh

from part_sides import Sides

# Both sides sum the same f64 terms in another order.
SAME = 1e-6


def measures(made):
    return made.proof["measures"]


def quantiles(values, areas, percents):
    order = np.argsort(values, kind="stable")
    sums = np.cumsum(areas[order])
    return [values[order][np.searchsorted(sums, p / 100 * sums[-1])] for p in percents]


def bore_points(sides):
    """The bore's points, the bore's area at each, and normals weighted by angle, all by trimesh."""
    mesh = trimesh.Trimesh(sides.points, sides.faces[sides.bore], process=False)
    areas = np.zeros(len(sides.points))
    np.add.at(areas, mesh.faces, mesh.area_faces[:, None] / 3)
    used = np.unique(mesh.faces)
    return used, areas[used], mesh.vertex_normals[used]


def distances(points, sides, faces):
    return np.sqrt(igl.point_mesh_squared_distance(points, sides.points, sides.faces[faces])[0])


@pytest.fixture
def sides(each_scan):
    return Sides(each_scan)


def shown(percentiles):
    return np.array([p["value"]["value"] for p in percentiles])


def test_the_wall_over_the_bore_is_what_libigl_finds(each_scan, sides):
    wall = measures(each_scan)["thickness"]
    used, areas, _ = bore_points(sides)
    found = distances(sides.points[used], sides, sides.outside)
    percents = [p["percent"] for p in wall["percentiles"]]
    assert np.allclose(quantiles(found, areas, percents), shown(wall["percentiles"]), rtol=1e-4)
    low, high = wall["least"]["bounds"]
    assert low - 1e-9 <= found.min() and wall["least"]["certified"]
    # The place is on the bore, and as thin as is said.
    at = np.array([wall["least_where"]])
    assert distances(at, sides, sides.bore)[0] < 1e-5
    assert distances(at, sides, sides.outside)[0] == pytest.approx(high, abs=1e-5)
    below = wall["histogram"]
    counted, _ = np.histogram(found, np.linspace(below["from"], below["to"], len(below["areas"]) + 1), weights=areas)
    # A value at a bin's edge may fall to either side.
    assert np.abs(counted - below["areas"]).sum() < 1e-3 * areas.sum()


def test_rays_into_the_wall_are_as_long_as_libigls(each_scan, sides):
    wall = measures(each_scan)["thickness"]
    used, areas, normals = bore_points(sides)
    outside = sides.faces[sides.outside].astype(np.int32)
    some = np.arange(0, len(used), max(1, len(used) // 4000))
    found = np.full(len(some), np.nan)
    mesh = trimesh.Trimesh(sides.points, outside, process=False)
    # The part faces outward, so the bore's normals point away from the wall.
    hits, rays, _ = mesh.ray.intersects_location(sides.points[used[some]], -normals[some], multiple_hits=True)
    lengths = np.linalg.norm(hits - sides.points[used[some]][rays], axis=1)
    for ray in np.unique(rays):
        found[ray] = lengths[rays == ray].min()
    met = ~np.isnan(found)
    percents = [p["percent"] for p in wall["ray_percentiles"]]
    sampled = quantiles(found[met], areas[some][met], percents)
    # A share of the points stands for all.
    assert np.allclose(sampled[1:3], shown(wall["ray_percentiles"])[1:3], rtol=0.02)


def test_the_deviation_lies_within_the_certified_bound(each_scan):
    deviation = measures(each_scan)["deviation"]
    largest = deviation["largest"]["value"]
    assert shown(deviation["percentiles"]).max() <= largest
    for extreme in (deviation["outward"], deviation["inward"]):
        assert extreme is None or abs(extreme["value"]) <= largest
    assert sum(deviation["histogram"]["areas"]) == pytest.approx(deviation["area"], rel=SAME)


def test_signed_deviation_at_its_extremes_is_what_libigl_finds(each_scan, sides):
    """At a form with two walls the scan's material is told by its winding, as libigl reads it."""
    deviation = measures(each_scan)["deviation"]
    scan = np.concatenate(each_scan.scans).reshape(-1, 3).astype(float)
    faces = np.arange(len(scan)).reshape(-1, 3)
    looked = 0
    for sign, extreme in ((1, deviation["outward"]), (-1, deviation["inward"])):
        if extreme is None:
            continue
        at = np.array([extreme["where"]])
        squared, _, nearest = igl.point_mesh_squared_distance(at, scan, faces)
        # What is gone cannot be nearer than all of the scan.
        assert abs(extreme["value"]) >= np.sqrt(squared[0]) - 1e-9
        if abs(abs(extreme["value"]) - np.sqrt(squared[0])) < 1e-9:
            point = np.linalg.norm(sides.points - at, axis=1).argmin()
            own = sides.faces[(sides.faces == point).any(axis=1)]
            normals = np.cross(
                sides.points[own[:, 1]] - sides.points[own[:, 0]], sides.points[own[:, 2]] - sides.points[own[:, 0]]
            ).sum(axis=0)
            assert sign * ((at - nearest)[0] @ normals) > 0
            looked += 1
    assert looked
