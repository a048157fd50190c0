"""The certified two-sided distance of remeshing, against distances that libigl samples.

Random patches, made here with fixed seeds: noise, needles, single points far off, open borders; and ends of the scans.
A sampled distance is a lower bound of the true one, so it may never exceed ours.
"""

import json
import subprocess

import igl
import numpy as np
import pytest
import trimesh

from conftest import SCANS, demanded

# Random places a triangle, beside its corners, the middles of its edges and its own.
SAMPLES = 6

# scan, place on its rim, radius of the patch, edge, deviation: mm
ENDS = [
    ("vhm-trachea-jagged-derived.stl", (-0.8, 632.5, 37.1), 10, 0.5, 0.03),
    ("vhm-trachea-jagged-derived.stl", (-0.8, 632.5, 37.1), 10, 2.0, 0.005),
    ("airway-ct-lumen-derived.stl", (1.8, 167.6, 784.7), 14, 0.5, 0.03),
    ("aorta-arch-cut-derived.stl", (-25.1, 108.1, 700.3), 17, 0.7, 0.03),
    ("vhf-aortic-arch-derived.stl", (30.3, 488.6, -54.0), 14, 0.8, 0.03),
    ("vhf-lower-leg-sleeve-derived.stl", (128.8, -664.9, -87.5), 50, 2.5, 0.05),
]


def remeshed(patches):
    """What the program makes of (edge, deviation, points, triangles)."""
    lines = []
    for edge, deviation, points, triangles in patches:
        numbers = [edge, deviation, len(points), len(triangles), *points.ravel().tolist(), *triangles.ravel().tolist()]
        lines.append(" ".join(map(repr, numbers)) + "\n")
    done = subprocess.run([demanded("SPILE_REMESHED")], input="".join(lines), capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


def sampled(points, triangles, other_points, other_triangles, random):
    """The largest distance of many places on one surface from the other."""
    corners = points[triangles]
    fixed = np.array([(1, 0, 0), (0, 1, 0), (0, 0, 1), (0.5, 0.5, 0), (0, 0.5, 0.5), (0.5, 0, 0.5), (1 / 3,) * 3])
    shares = np.concatenate([np.tile(fixed, (len(corners), 1, 1)), random.dirichlet((1, 1, 1), (len(corners), SAMPLES))], 1)
    places = np.einsum("tsk,tkd->tsd", shares, corners).reshape(-1, 3)
    squared = igl.point_mesh_squared_distance(places, other_points, other_triangles)[0]
    return float(np.sqrt(squared.max()))


def border(points, triangles):
    """The open edges by the bits of their ends."""
    edges = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    named, counts = np.unique(np.sort(edges, 1), axis=0, return_counts=True)
    return {frozenset(points[v].tobytes() for v in edge) for edge in named[counts == 1]}


def hold(patch, answer, random):
    """Tests one answer; gives the sampled share of the certified distance, None where nothing changed."""
    _, deviation, points, triangles = patch
    new_points, new_triangles = np.array(answer["points"]), np.array(answer["triangles"], np.int64)
    # What the reference's own arithmetic may be off by: beside needles it gave 1.1e-10 at coordinates up to 9 where
    # fractions without rounding gave 2e-16.
    rounding = 3e-11 * np.abs(points).max()
    there = sampled(points, triangles, new_points, new_triangles, random)
    back = sampled(new_points, new_triangles, points, triangles, random)
    assert there <= answer["old_to_new"] + rounding
    assert back <= answer["new_to_old"] + rounding
    certified = max(answer["old_to_new"], answer["new_to_old"])
    assert certified <= deviation
    assert border(points, triangles) == border(new_points, new_triangles)
    return max(there, back) / certified if certified else None


def random_patch(seed):
    """A wavy open sheet or an open tube; rough, with needles and points far off."""
    random = np.random.default_rng(seed)
    rows, columns = random.integers(8, 22, 2)
    u, v = np.meshgrid(np.linspace(0, 1, rows), np.linspace(0, 1, columns), indexing="ij")
    if seed % 3 == 1:
        # Rows that crowd together make needles.
        u = u ** random.uniform(2, 6)
    if seed % 2:
        turn = 1.6 * np.pi * v
        points = np.stack([4 * np.cos(turn), 4 * np.sin(turn), 9 * u], -1)
    else:
        points = np.stack([9 * u, 9 * v, np.sin(5 * u) * np.cos(4 * v)], -1)
    points = points.reshape(-1, 3) + random.choice([0, 0.02, 0.2]) * random.standard_normal((rows * columns, 3))
    for _ in range(random.integers(0, 3)):
        points[random.integers(len(points))] += random.uniform(-1.5, 1.5, 3)
    if seed % 4 == 3:
        points = np.float64(np.float32(points + (3, 165, 700)))
    cell = (np.arange(rows - 1)[:, None] * columns + np.arange(columns - 1)).ravel()
    halves = [np.stack([cell, cell + columns, cell + 1], 1), np.stack([cell + 1, cell + columns, cell + columns + 1], 1)]
    triangles = np.concatenate(halves)
    # A hole, so that there is an inner border too.
    triangles = np.delete(triangles, random.integers(len(triangles), size=1), 0)
    # So small a limit leaves next to nothing but the old triangles.
    deviation = 1e-9 if seed % 10 == 0 else float(random.choice([0.002, 0.02, 0.1]))
    return random.uniform(0.3, 3), deviation, points, triangles


def end_of_scan(scan, place, radius, edge, deviation):
    mesh = trimesh.load(SCANS / "anatomy" / scan, process=True)
    points, triangles = np.array(mesh.vertices), np.array(mesh.faces, np.int64)
    near = (np.linalg.norm(points[triangles] - place, axis=2) < radius).all(1)
    used, renumbered = np.unique(triangles[near], return_inverse=True)
    assert near.sum() > 50, scan
    return edge, deviation, points[used], renumbered.reshape(-1, 3)


def test_random_patches_lie_within_their_certified_distance():
    patches = [random_patch(seed) for seed in range(40)]
    answers = remeshed(patches)
    random = np.random.default_rng(1)
    shares = [share for p, a in zip(patches, answers, strict=True) if (share := hold(p, a, random)) is not None]
    # Most are no copies of what was given, and the bound is of their distance, not of the limit.
    assert len(shares) > 30
    assert np.median(shares) > 0.8


@pytest.mark.parametrize("end", ENDS, ids=lambda e: f"{e[0].removesuffix('-derived.stl')}-{e[3]}-{e[4]}")
def test_ends_of_scans_lie_within_their_certified_distance(end):
    patch = end_of_scan(*end)
    (answer,) = remeshed([patch])
    share = hold(patch, answer, np.random.default_rng(2))
    assert share is not None and share > 0.5
