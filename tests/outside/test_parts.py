"""Every part is one closed, manifold, self-intersection-free solid, by libraries that know nothing of spile."""

import igl
import igl.copyleft.cgal
import manifold3d
import numpy as np
import pytest
import trimesh

from stl_reading import welded


def test_some_parts_were_made(request):
    from conftest import held_folders

    assert held_folders(), "no case of tests/real ended held"


def test_trimesh_calls_the_part_watertight(made):
    points, faces = welded(made.part)
    mesh = trimesh.Trimesh(points, faces, process=False)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    figures = made.proof["part"]
    assert len(faces) == figures["triangles"]
    assert len(points) == figures["vertices"]
    assert mesh.volume == pytest.approx(figures["volume"], rel=1e-9)
    assert mesh.area == pytest.approx(figures["area"], rel=1e-9)
    assert mesh.volume > 0


def test_manifold3d_takes_the_part_as_it_is(made):
    points, faces = welded(made.part)
    mesh = manifold3d.Mesh64(vert_properties=points, tri_verts=faces.astype(np.uint64))
    solid = manifold3d.Manifold(mesh)
    assert solid.status() == manifold3d.Error.NoError
    assert solid.volume() == pytest.approx(made.proof["part"]["volume"], rel=1e-6)


def test_libigl_finds_every_edge_twice_and_one_piece(made):
    points, faces = welded(made.part)
    assert len(igl.boundary_facets(faces)[0]) == 0
    assert igl.is_edge_manifold(faces)
    assert igl.is_vertex_manifold(faces).all()
    pieces, _ = igl.facet_components(faces)
    assert pieces == made.proof["part"]["shells"]


def test_libigl_finds_no_two_triangles_that_cross(heavy):
    # Exact arithmetic, all pairs. What the scan already had is in the proof.
    points, faces = welded(heavy.part)
    found = igl.copyleft.cgal.remesh_self_intersections(points, faces, detect_only=True)
    pairs = next(a for a in found if getattr(a, "ndim", 0) == 2 and a.shape[1] == 2)
    assert len(pairs) == heavy.proof["part"]["self_intersections"]
    if not heavy.case["scan"].get("inherit"):
        assert len(pairs) == 0
