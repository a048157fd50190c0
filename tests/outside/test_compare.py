"""`spile compare` against closed forms and against libigl on real scans."""

import csv

import igl
import numpy as np
import pytest
import trimesh

from conftest import ROOT, SCANS
from stl_reading import read_stl, welded, write_stl


def closed_form(name):
    with open(ROOT / "tests/check-values/closed-forms.csv", newline="") as table:
        return next(float(row["value"]) for row in csv.DictReader(table) if row["id"] == name)


def square(side):
    a, b, c, d = (0, 0, 0), (side, 0, 0), (side, side, 0), (0, side, 0)
    return np.array([[a, b, c], [a, c, d]], np.float32)


def prism_side(n, radius, turn, height=200.0):
    return prism_part(radius, 2 * np.pi * np.arange(n + 1) / n + turn, height)


def prism_part(radius, angles, height=2.0):
    low = np.stack([radius * np.cos(angles), radius * np.sin(angles), 0 * angles], axis=1)
    high = low + [0, 0, height]
    quads = [((low[i], low[i + 1], high[i + 1]), (low[i], high[i + 1], high[i])) for i in range(len(angles) - 1)]
    return np.array([t for quad in quads for t in quad], np.float32)


def compared(spile, tmp_path, a, b, within):
    write_stl(tmp_path / "a.stl", a)
    write_stl(tmp_path / "b.stl", b)
    code, document, messages = spile("compare", tmp_path / "a.stl", tmp_path / "b.stl", "--within", within, "--json")
    assert code == 0, messages
    assert document["reached"] and document["within"] == within
    for low, high in (document["a_to_b"], document["b_to_a"], document["bounds"]):
        assert low <= high <= low + within
    return document


@pytest.mark.parametrize("n", [12, 32, 64])
def test_a_prism_against_itself_turned_by_half_a_step(spile, tmp_path, n):
    # check-values C27-n; float32 corners of radius 10 are off by up to 1e-6.
    document = compared(spile, tmp_path, prism_side(n, 10, 0), prism_side(n, 10, np.pi / n), 1e-5)
    low, high = document["bounds"]
    assert low - 2e-6 <= closed_form(f"C27-{n}") <= high + 2e-6


def test_one_direction_alone_is_not_enough(spile, tmp_path):
    # check-values C28: side 20 against side 10 with a common corner; the wrong reading gives 0.
    document = compared(spile, tmp_path, square(20), square(10), 1e-6)
    low, high = document["a_to_b"]
    assert low - 1e-8 <= closed_form("C28") <= high + 1e-8
    assert document["b_to_a"][0] == 0 and document["b_to_a"][1] <= 1e-6
    assert document["bounds"] == document["a_to_b"]


def test_a_chord_stands_off_its_arc_by_the_exact_sagitta(spile, tmp_path):
    # check-values C29-4 and C30-4: one facet of chord 4 on radius 9 against a fine arc. L^2 / 8 r lies below it.
    half = np.arcsin(2 / 9)
    strip = lambda n: prism_part(9, np.linspace(-half, half, n + 1))
    document = compared(spile, tmp_path, strip(1), strip(512), 1e-6)
    low, high = document["bounds"]
    # 512 facets sag by 2.6e-6 of their own; float32 adds 1e-6.
    assert low - 1e-6 <= closed_form("C29-4") <= high + 4e-6
    assert low > closed_form("C30-4")


def test_concentric_spheres_are_as_far_apart_as_their_radii(spile, tmp_path):
    # Closed form |R - r|: facets sag inward on both, by the sphere's own sagitta at most.
    inner, outer = (trimesh.creation.icosphere(4, radius) for radius in (9.0, 11.0))
    document = compared(spile, tmp_path, inner.triangles, outer.triangles, 1e-4)
    sag = 11.0 - np.linalg.norm(outer.triangles.mean(axis=1), axis=1).min()
    low, high = document["bounds"]
    assert 2.0 - 1e-5 <= high and low <= 2.0 + sag + 1e-5


CLOSE_PAIRS = [("anatomy/vhm-trachea-cut-derived.stl", "anatomy/vhm-trachea-derived.stl")]


@pytest.mark.parametrize("a, b", CLOSE_PAIRS)
def test_sampled_distances_lie_below_the_bound_on_a_real_scan(spile, a, b):
    code, document, messages = spile("compare", SCANS / a, SCANS / b, "--within", 0.01, "--json")
    assert code == 0, messages
    for (first, second), (low, high) in (((a, b), document["a_to_b"]), ((b, a), document["b_to_a"])):
        source, target = read_stl(SCANS / first), welded(read_stl(SCANS / second))
        mesh = trimesh.Trimesh(*welded(source), process=False)
        points, _ = trimesh.sample.sample_surface(mesh, 100_000, seed=3)
        points = np.vstack([points, mesh.vertices])
        sampled = np.sqrt(igl.point_mesh_squared_distance(points, *target)[0]).max()
        assert sampled <= high + 1e-9
        # Dense samples come near the maximum: a bound far above it would be no use.
        assert sampled >= low - 0.25
