"""Parts that were not made by spile, judged against a real scan's case: no crash, and no limit called held that is not.

Some are spile's own part told otherwise (another order, file, triangulation): the same figures must come out. Others
have a joint made by booleans in manifold3d: what is called held is checked here by other means.
"""

import ctypes

import igl
import igl.copyleft.cgal
import lib3mf
import manifold3d
import numpy as np
import pytest
import trimesh

from conftest import ROOT
from stl_reading import keys, welded, write_stl
from test_untouched import beyond_reach


def shuffled(part, seed):
    """The same triangles: other order, other first corners, other numbers for the points."""
    random = np.random.default_rng(seed)
    corners = part[random.permutation(len(part))]
    roll = (np.arange(3)[None] + random.integers(0, 3, len(corners))[:, None]) % 3
    points, faces = welded(np.take_along_axis(corners, roll[:, :, None], axis=1))
    new = random.permutation(len(points))
    numbered = np.empty_like(points)
    numbered[new] = points
    return numbered, new[faces]


def write_obj(path, points, faces):
    lines = [f"v {x!r} {y!r} {z!r}" for x, y, z in points.tolist()]
    lines += [f"f {a} {b} {c}" for a, b, c in (faces + 1).tolist()]
    path.write_text("\n".join(lines) + "\n")


def write_ply(path, points, faces):
    """Binary, coordinates as float64."""
    head = f"""ply
format binary_little_endian 1.0
element vertex {len(points)}
property double x
property double y
property double z
element face {len(faces)}
property list uchar int vertex_indices
end_header
"""
    rows = np.zeros(len(faces), np.dtype([("n", "u1"), ("corners", "<i4", 3)]))
    rows["n"], rows["corners"] = 3, faces
    path.write_bytes(head.encode() + points.astype("<f8").tobytes() + rows.tobytes())


def write_ascii_stl(path, points, faces):
    lines = ["solid part"]
    for corners in points[faces].tolist():
        lines += ["facet normal 0 0 0", "outer loop"]
        lines += [f"vertex {x!r} {y!r} {z!r}" for x, y, z in corners]
        lines += ["endloop", "endfacet"]
    path.write_text("\n".join(lines + ["endsolid part"]) + "\n")


def write_3mf(path, points, faces, unit):
    """By the format's own reference library."""
    wrapper = lib3mf.get_wrapper()
    model = wrapper.CreateModel()
    model.SetUnit(unit)
    mesh = model.AddMeshObject()
    number = ctypes.c_float * 3
    corners = ctypes.c_uint32 * 3
    positions = [lib3mf.Position(number(*p)) for p in points.tolist()]
    triangles = [lib3mf.Triangle(corners(*f)) for f in faces.tolist()]
    mesh.SetGeometry(positions, triangles)
    model.AddBuildItem(mesh, wrapper.GetIdentityTransform())
    model.QueryWriter("3mf").WriteToFile(str(path))


WRITERS = {"obj": write_obj, "ply": write_ply, "stl": write_ascii_stl}


def rows_of(proof):
    return {(r["name"], r["end"]): r for r in proof["limits"]}


def agree(ours, theirs, slack):
    """The same verdicts, and bounds that can hold one true value between them."""
    ours, theirs = rows_of(ours), rows_of(theirs)
    ours.pop(("case", None), None)
    assert ours.keys() == theirs.keys()
    for name, row in ours.items():
        other = theirs[name]
        assert row["verdict"] == other["verdict"], (name, other["how"])
        if row["bounds"] and other["bounds"]:
            low = max(row["bounds"][0], other["bounds"][0])
            high = min(row["bounds"][1], other["bounds"][1])
            size = max(map(abs, row["bounds"] + other["bounds"]))
            assert low <= high + slack * max(size, 1.0), (name, row["bounds"], other["bounds"])


def proved(spile, case, part, *more):
    code, proof, messages = spile("prove", case, "--part", part, "--json", *more)
    assert code in (0, 1), messages
    assert proof is not None, messages
    assert (code == 0) == (proof["verdict"] == "held")
    return proof


@pytest.mark.parametrize("kind", WRITERS)
def test_the_same_triangles_told_otherwise_are_judged_alike(spile, heavy, tmp_path, kind):
    path = tmp_path / f"part.{kind}"
    WRITERS[kind](path, *shuffled(heavy.part, seed=len(kind)))
    agree(heavy.proof, proved(spile, heavy.folder / "case.toml", path), 1e-9)


def test_coordinates_finer_than_a_file_of_32_bits_are_rounded_and_said_so(spile, heavy, tmp_path):
    points, faces = shuffled(heavy.part, seed=5)
    off = np.random.default_rng(1).uniform(-1, 1, points.shape) * np.spacing(np.abs(points).astype(np.float32)) * 0.2
    write_ply(tmp_path / "part.ply", points + off, faces)
    proof = proved(spile, heavy.folder / "case.toml", tmp_path / "part.ply")
    agree(heavy.proof, proof, 1e-9)
    assert any("rounded to 32-bit" in note for note in proof["notes"])


def tube_at_a_cut(made):
    """The first end, where that is a plane cut with a tube at a place that the case tells."""
    end = made.case["end"][0]
    if "cut" not in end or end.get("fitting", {}).get("kind") != "tube" or "along" not in end["place"]:
        pytest.skip("its first end is no tube at a cut")
    return end


def split_in_the_joint(made):
    """Every triangle of the first end's joint, seams' and fitting's own apart, cut into three at its middle."""
    end = tube_at_a_cut(made)
    cut, place = end["cut"], end["place"]
    unit = lambda v: np.array(v) / np.linalg.norm(v)
    part = made.part.astype(np.float64)
    over_cut = (part - np.array(cut["through"])) @ unit(cut["facing"])
    over_face = (part - np.array(place["at"])) @ unit(place["along"])
    inside = (over_cut > 0.5).all(axis=1) & (over_face < -0.5).all(axis=1)
    assert inside.sum() > 500
    middle = made.part[inside].mean(axis=1, dtype=np.float64).astype(np.float32)
    a, b, c = np.moveaxis(made.part[inside], 1, 0)
    fans = [np.stack(t, axis=1) for t in ((a, b, middle), (b, c, middle), (c, a, middle))]
    return np.concatenate([made.part[~inside], *fans])


def test_a_joint_with_other_triangles_and_the_same_shape_is_judged_alike(spile, heavy, tmp_path):
    write_stl(tmp_path / "part.stl", split_in_the_joint(heavy))
    proof = proved(spile, heavy.folder / "case.toml", tmp_path / "part.stl")
    # Middles rounded to float32 lie off their planes by up to 6e-5 at these coordinates.
    agree(heavy.proof, proof, 1e-3)


def loft(lower, upper):
    """A surface between two closed lines of points, each as many, that face each other."""
    n = len(lower)
    quads = [((lower[i], lower[(i + 1) % n], upper[(i + 1) % n]), (lower[i], upper[(i + 1) % n], upper[i])) for i in range(n)]
    return np.array([t for quad in quads for t in quad])


def tube(rings_out, rings_in):
    """A closed solid between outer and inner rings, stacked along the same direction."""
    walls = [loft(a, b) for a, b in zip(rings_out, rings_out[1:])]
    walls += [loft(b, a) for a, b in zip(rings_in, rings_in[1:])]
    walls += [loft(rings_in[0], rings_out[0]), loft(rings_out[-1], rings_in[-1])]
    points, faces = np.unique(np.concatenate(walls).reshape(-1, 3), axis=0, return_inverse=True)
    return solid(points, faces.reshape(-1, 3))


def solid(points, faces):
    made = manifold3d.Manifold(manifold3d.Mesh64(vert_properties=np.ascontiguousarray(points), tri_verts=faces.astype(np.uint64)))
    assert made.status() == manifold3d.Error.NoError
    return made


def section_rings(points, faces, origin, normal, angles, frame):
    """Bore and outside where a plane cuts the part, at even angles about the bore's middle."""
    path = trimesh.Trimesh(points, faces, process=False).section(plane_origin=origin, plane_normal=normal)
    loops = sorted((np.asarray(d)[:-1] for d in path.discrete), key=lambda l: -np.ptp(l, axis=0).max())
    outside, bore = loops[:2]
    middle = bore.mean(axis=0)
    at = lambda loop: np.arctan2((loop - middle) @ frame[1], (loop - middle) @ frame[0])

    def ring(loop):
        turn = np.unwrap(at(loop))
        if turn[-1] < turn[0]:
            loop, turn = loop[::-1], turn[::-1]
        closed = np.concatenate([loop, loop[:1]]), np.append(turn, turn[0] + 2 * np.pi)
        wanted = turn[0] + (angles - turn[0]) % (2 * np.pi)
        return np.stack([np.interp(wanted, closed[1], closed[0][:, k]) for k in range(3)], axis=1)

    return ring(bore), ring(outside)


def joined_by_booleans(made, sunk):
    """The part's body cut off below its joint, and a straight joint and the fitting united with it.

    `sunk`: how far the joint reaches into the body. Nothing of this was made under any limit.
    """
    end = tube_at_a_cut(made)
    unit = lambda v: np.array(v) / np.linalg.norm(v)
    through, facing = np.array(end["cut"]["through"]), unit(end["cut"]["facing"])
    at, along = np.array(end["place"]["at"]), unit(end["place"]["along"])
    fitting = end["fitting"]
    points, faces = welded(made.part)
    body = solid(points, faces).trim_by_plane(tuple(-facing), float(-(through @ facing)))
    x = unit(np.cross(along, [0.3, 0.5, 0.8]))
    frame = (x, np.cross(along, x))
    angles = 2 * np.pi * np.arange(96) / 96
    # Area-true: a polygon of the circle's area.
    step = 2 * np.pi / 96
    radius = lambda d: 0.5 * d * np.sqrt(step / np.sin(step))
    circle = lambda d, s: at + s * along + radius(d) * (np.cos(angles)[:, None] * frame[0] + np.sin(angles)[:, None] * frame[1])
    bore, outside = section_rings(points, faces, through - sunk * facing, facing, angles, frame)
    far = fitting["length"]
    outer = [outside, circle(fitting["outside"], 0.0), circle(fitting["outside"], far)]
    inner = [bore, circle(fitting["bore"], 0.0), circle(fitting["bore"], far)]
    joined = (body + tube(outer, inner)).to_mesh64()
    return np.asarray(joined.vert_properties)[:, :3], np.asarray(joined.tri_verts).astype(np.int64)


def is_sound(corners):
    """Whether other libraries call it one closed solid that does not meet itself."""
    points, faces = welded(corners)
    mesh = trimesh.Trimesh(points, faces, process=False)
    found = igl.copyleft.cgal.remesh_self_intersections(points, faces, detect_only=True)
    pairs = next(a for a in found if getattr(a, "ndim", 0) == 2 and a.shape[1] == 2)
    pieces, _ = igl.facet_components(faces)
    degenerate = (faces == np.roll(faces, 1, axis=1)).any()
    return mesh.is_watertight and mesh.is_winding_consistent and not len(pairs) and pieces == 1 and not degenerate


ALWAYS = {"closed", "untouched"}


@pytest.mark.parametrize("sunk", [0.0, 0.4, 2.0])
def test_a_joint_made_by_booleans_is_judged_and_not_wrongly_held(spile, heavy, tmp_path, sunk):
    points, faces = joined_by_booleans(heavy, sunk)
    corners = points[faces].astype(np.float32)
    write_stl(tmp_path / "part.stl", corners)
    write_ply(tmp_path / "part.ply", points, faces)
    asked = ROOT / "tests/real" / f"{heavy.name}.toml"
    for case, more in ((heavy.folder / "case.toml", ()), (asked, ("--without-seams",))):
        for part in ("part.stl", "part.ply"):
            proof = proved(spile, case, tmp_path / part, *more)
            rows = rows_of(proof)
            # Its joint leaves the scan at an angle that no smooth joint has, so it cannot be held.
            assert proof["verdict"] == "broken"
            for row in proof["limits"]:
                assert row["verdict"] in ("held", "broken", "not judged", "not asked")
                assert row["how"], row
                if row["verdict"] == "not judged":
                    assert row["how"].startswith("cannot be judged: "), row
            assert (rows["closed", None]["verdict"] == "held") <= is_sound(corners)
            if rows["untouched", None]["verdict"] == "held":
                check_untouched(heavy, corners)
            check_kink(rows, heavy)


def check_untouched(made, corners):
    there = set(keys(corners))
    for scan in made.scans:
        beyond = np.all([beyond_reach(end, scan) for end in made.case["end"]], axis=0)
        assert all(k in there for k, b in zip(keys(scan), beyond) if b)


def check_kink(rows, made):
    for end in made.case["end"]:
        row = rows.get(("kink", end["name"]))
        if row is not None and "fitting" in end:
            assert row["verdict"] != "held", row


def test_a_part_of_another_scan_is_broken_by_what_it_lacks(spile, heavy, tmp_path):
    write_stl(tmp_path / "part.stl", trimesh.creation.annulus(8.0, 10.0, 40.0).triangles.astype(np.float32))
    rows = rows_of(proved(spile, heavy.folder / "case.toml", tmp_path / "part.stl"))
    assert rows["untouched", None]["verdict"] == "broken"
    assert rows["closed", None]["verdict"] == "held"
    judged = {name for (name, _), row in rows.items() if row["verdict"] == "held"}
    assert judged <= {"closed", "mends", "unit"}, judged


@pytest.mark.parametrize("unit", ["MilliMeter", "Inch", "Meter"])
def test_the_unit_of_another_programs_3mf_is_judged(spile, heavy, tmp_path, unit):
    assert heavy.proof["unit"] == "mm"
    write_3mf(tmp_path / "part.3mf", *welded(heavy.part), getattr(lib3mf.ModelUnit, unit))
    proof = proved(spile, heavy.folder / "case.toml", tmp_path / "part.3mf")
    expected = "held" if unit == "MilliMeter" else "broken"
    rows = rows_of(proof)
    assert rows["unit", None]["verdict"] == expected
    # The library writes six decimals: below 1 fewer than float32 has. What such a file moved is told, too.
    assert (proof["verdict"] == "held") <= (expected == "held")
    assert rows["closed", None]["verdict"] == "held"
    points = np.array([p for scan in heavy.scans for p in scan.reshape(-1, 3)])
    is_lossy = (np.round(points.astype(np.float64), 6).astype(np.float32) != points).any()
    assert is_lossy or rows["untouched", None]["verdict"] == "held"
