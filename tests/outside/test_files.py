"""Every further file of a part, opened by a reference reader and compared back with the part, bit for bit where
the format carries 32-bit coordinates as they are."""

import csv
import hashlib
import io
import json
import re
import struct
import subprocess
from os import environ
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
import trimesh

from stl_reading import keys

# Metres to the unit, by the SI and the international inch; glTF 2.0: "all linear distances are meters".
METRES = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": 0.0254}
CAUTION = "This proof covers geometry only."


def file_of(made, ending):
    path = made.folder / f"part.{ending}"
    if not path.exists():
        pytest.skip("made without --all-files")
    return path


def fitting_names(made):
    return [e["name"] for e in made.case["end"] if "fitting" in e]


def obj_groups(path):
    """Triangles by group, by the format's text alone (check-values 3.4)."""
    points, groups, current = [], {}, None
    for line in path.read_text("ascii").splitlines():
        word, *values = line.split()
        if word == "v":
            points.append([np.float32(v) for v in values])
        elif word == "g":
            assert len(values) == 1 and values[0] not in groups, line
            current = groups.setdefault(values[0], [])
        elif word == "f":
            current.append([int(v) - 1 for v in values])
        else:
            assert word in ("#", "o"), line
    return np.array(points, np.float32), {name: np.array(f) for name, f in groups.items()}


def test_obj_has_the_parts_triangles_in_its_groups(made):
    path = file_of(made, "obj")
    points, groups = obj_groups(path)
    all_faces = np.concatenate(list(groups.values()))
    assert sorted(keys(points[all_faces])) == sorted(keys(made.part))
    wanted = {"bore", "outside"}
    for name in fitting_names(made):
        wanted |= {f"{what}_{name}" for what in ("joint_bore", "joint_outside", "fitting_bore", "fitting_outside", "end_face")}
    assert wanted <= set(groups), set(groups)
    assert CAUTION in path.read_text("ascii")
    # The reference reader: one mesh, as many triangles in it, and the same volume as the STL file's.
    mesh = trimesh.load(path, process=False, maintain_order=True, force="mesh")
    reference = trimesh.load(made.stl)
    assert len(mesh.faces) == len(reference.faces)
    # Decimals stand for 32-bit numbers: each lies within half their spacing of its own.
    rounding = np.spacing(np.float32(abs(reference.bounds).max())) / 2
    assert abs(mesh.volume - reference.volume) <= np.sqrt(3) * rounding * reference.area
    split = trimesh.load(path, process=False, split_groups=True, group_material=False, force="scene")
    found = sorted(len(g.faces) for g in split.geometry.values())
    assert found == sorted(len(f) for f in groups.values())


def test_the_groups_are_what_they_are_called(made):
    """Fittings' groups lie on their exact circles, end faces in their planes, and bore and outside close the joint."""
    points, groups = obj_groups(file_of(made, "obj"))
    chord = made.case["limits"]["chord"]
    for end in made.case["end"]:
        if end.get("fitting", {}).get("kind") != "tube" or "flange" in end["fitting"]:
            continue
        along = np.array(end["place"]["along"]) / np.linalg.norm(end["place"]["along"])
        from_near = lambda group: points[np.unique(groups[group])].astype(float) - end["place"]["at"]
        for group, diameter in (("fitting_bore", "bore"), ("fitting_outside", "outside")):
            at = from_near(f"{group}_{end['name']}")
            radii = np.linalg.norm(at - np.outer(at @ along, along), axis=1)
            assert abs(radii - end["fitting"][diameter] / 2).max() <= chord + 1e-4, group
        heights = from_near(f"end_face_{end['name']}") @ along
        assert abs(heights - end["fitting"]["length"]).max() <= 1e-3
    # The flow side with the end faces left out: every open edge lies on an end face, so inlet and outlet
    # are all that a flow simulation has to close.
    on_face = {tuple(e) for name, f in groups.items() if name.startswith("end_face") for e in edges(f)}
    bore = np.concatenate([f for name, f in groups.items() if "bore" in name.split("_")[:2]])
    sides, count = np.unique(edges(bore), axis=0, return_counts=True)
    assert all(tuple(edge) in on_face for edge in sides[count == 1])


def edges(faces):
    return np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)


def ply_comments(path):
    header = path.read_bytes().split(b"end_header\n")[0].decode("ascii")
    return [line.removeprefix("comment ") for line in header.splitlines() if line.startswith("comment ")]


def test_ply_has_the_parts_triangles_and_its_groups(made):
    path = file_of(made, "ply")
    mesh = trimesh.load(path, process=False, maintain_order=True)
    points = mesh.vertices.astype(np.float32)
    assert keys(points[mesh.faces]) == keys(made.part)
    _, groups = obj_groups(file_of(made, "obj"))
    comments = ply_comments(path)
    names = [c.split(": ")[1] for c in comments if c.startswith("group ")]
    own = mesh.metadata["_ply_raw"]["face"]["data"]["group"].reshape(-1)
    assert {n: int((own == k).sum()) for k, n in enumerate(names)} == {n: len(f) for n, f in groups.items()}
    assert any(CAUTION in comment for comment in comments)


def test_glb_is_the_part_in_metres_with_a_colour_a_group(made):
    path = file_of(made, "glb")
    scene = trimesh.load(path, process=False)
    points, groups = obj_groups(file_of(made, "obj"))
    assert set(scene.geometry) == set(groups)
    reference = trimesh.load(made.stl)
    scale = METRES[made.case["unit"]]
    whole = scene.to_mesh()
    assert len(whole.faces) == len(reference.faces)
    # A coordinate is rounded once more: half a unit in the last place of an f32.
    rounding = np.spacing(np.float32(abs(reference.bounds).max() * scale))
    assert abs(whole.bounds - reference.bounds * scale).max() <= rounding
    assert whole.area == pytest.approx(reference.area * scale**2, rel=1e-5)
    colours = set()
    for name, faces in groups.items():
        part = scene.geometry[name]
        wanted = points[faces].astype(float) * scale
        assert abs(part.triangles - wanted).max() <= rounding, name
        own = np.unique(part.visual.vertex_attributes["color"] if hasattr(part.visual, "vertex_attributes")
                        and "color" in part.visual.vertex_attributes else part.visual.vertex_colors, axis=0)
        assert len(own) == 1, name
        colours.add(tuple(own[0]))
    assert len(colours) == len({name.split("_")[0] for name in groups})
    data = path.read_bytes()
    (length,) = struct.unpack_from("<I", data, 12)
    asset = json.loads(data[20 : 20 + length])["asset"]
    assert CAUTION in asset["extras"]["description"]
    assert asset["extras"]["unit_of_the_case"] == made.case["unit"]


VALIDATE = """
const v = require(process.argv[1]), fs = require('fs');
v.validateBytes(new Uint8Array(fs.readFileSync(process.argv[2])), { maxIssues: 0 })
  .then((report) => console.log(JSON.stringify(report)));
"""


def test_glb_passes_the_formats_own_validator(made):
    """Khronos' validator from npm (`gltf-validator`), where GLTF_VALIDATOR names its folder."""
    path = file_of(made, "glb")
    if "GLTF_VALIDATOR" not in environ:
        pytest.skip("GLTF_VALIDATOR is not set")
    words = ["node", "-e", VALIDATE, environ["GLTF_VALIDATOR"], str(path)]
    said = subprocess.run(words, capture_output=True, text=True, timeout=300, check=True)
    report = json.loads(said.stdout)
    issues = report["issues"]
    assert (issues["numErrors"], issues["numWarnings"]) == (0, 0), issues
    assert report["info"]["totalTriangleCount"] == len(made.part)


# --- STEP


def step_text(made):
    return file_of(made, "step").read_text("ascii")


def test_step_holds_the_parts_triangles(made):
    """By the exchange structure's text alone: points once, triangles by the lists of their faces (check-values 3.7)."""
    text = step_text(made)
    block = text.split("=COORDINATES_LIST('',", 1)[1].split("));", 1)[0]
    count, rows = block.split(",(", 1)
    points = np.array([r.strip("()").split(",") for r in rows.replace("\n", "").split("),(")], np.float32)
    assert len(points) == int(count)
    triangles = []
    for face in text.split("=TRIANGULATED_FACE(")[1:]:
        used, corners = face.split("(),$,(", 1)[1].split("));", 1)[0].split("),(", 1)
        used = np.array(used.replace("\n", "").split(","), int)
        corners = corners.replace("\n", "").strip("()").split("),(")
        triangles.append(used[np.array([c.split(",") for c in corners], int) - 1] - 1)
    assert sorted(keys(points[np.concatenate(triangles)])) == sorted(keys(made.part))
    assert CAUTION in text


def each_of(shape, kind):
    from OCP.TopExp import TopExp_Explorer

    explorer = TopExp_Explorer(shape, kind)
    while explorer.More():
        yield explorer.Current()
        explorer.Next()


def as_face(shape):
    from OCP.TopoDS import TopoDS

    return TopoDS.Face_s(shape) if hasattr(TopoDS, "Face_s") else TopoDS.Face(shape)


def triangles_in_the_kernel(made):
    """The part as an open CAD kernel reads it: one solid of one shell, a face a group, all forward; the corners of its triangles."""
    from OCP.BRep import BRep_Tool
    from OCP.STEPControl import STEPControl_Reader
    from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum
    from OCP.TopLoc import TopLoc_Location

    reader = STEPControl_Reader()
    assert reader.ReadFile(str(file_of(made, "step"))).name == "IFSelect_RetDone"
    assert reader.TransferRoots() == 1
    part = next(each_of(reader.OneShape(), TopAbs_ShapeEnum.TopAbs_SOLID))
    assert len(list(each_of(part, TopAbs_ShapeEnum.TopAbs_SHELL))) == 1
    faces = [as_face(f) for f in each_of(part, TopAbs_ShapeEnum.TopAbs_FACE)]
    assert len(faces) == step_text(made).count("=TRIANGULATED_FACE(")
    corners = []
    for face in faces:
        assert BRep_Tool.Surface_s(face) is None and face.Orientation() == TopAbs_Orientation.TopAbs_FORWARD
        held = BRep_Tool.Triangulation_s(face, TopLoc_Location())
        nodes = np.array([(p.X(), p.Y(), p.Z()) for p in (held.Node(k + 1) for k in range(held.NbNodes()))])
        triangles = [held.Triangle(k + 1) for k in range(held.NbTriangles())]
        corners.append(nodes[np.array([[t.Value(1), t.Value(2), t.Value(3)] for t in triangles]) - 1])
    return np.concatenate(corners)


def by_place(corners):
    """Places and triangles of corners; the same place only where all coordinates are the same bits."""
    places, at = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
    return places, at.reshape(-1, 3)


def test_step_is_one_closed_surface_to_an_open_cad_kernel(made):
    """The triangles as the kernel holds them: over all faces every edge once each way between the same two places, the
    volume within positive."""
    corners = triangles_in_the_kernel(made)
    assert len(corners) == len(made.part)
    _, place = by_place(corners)
    ways = np.concatenate([place, np.roll(place, -1, axis=1)]).reshape(2, -1).T
    assert (ways[:, 0] != ways[:, 1]).all()
    there, back = ({(a, b) for a, b in ways[:, order].tolist()} for order in ([0, 1], [1, 0]))
    assert len(there) == len(ways) and there == back
    assert np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum() > 0


def in_the_kernel(places, triangles):
    """Triangles as the kernel keeps them for display: no surface, no edges."""
    from OCP.gp import gp_Pnt
    from OCP.Poly import Poly_Triangle, Poly_Triangulation

    held = Poly_Triangulation(len(places), len(triangles), False)
    for k, at in enumerate(np.asarray(places, float).tolist(), 1):
        held.SetNode(k, gp_Pnt(*at))
    for k, t in enumerate((np.asarray(triangles) + 1).tolist(), 1):
        held.SetTriangle(k, Poly_Triangle(*t))
    return held


def as_exact_solid(places, triangles):
    """The kernel's own making of a plane face of each triangle, with the edges and corners that they share, in one shell."""
    from OCP.BRep import BRep_Builder
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeShapeOnMesh
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopoDS import TopoDS_Shell, TopoDS_Solid

    making = BRepBuilderAPI_MakeShapeOnMesh(in_the_kernel(places, triangles))
    making.Build()
    build, shell, solid = BRep_Builder(), TopoDS_Shell(), TopoDS_Solid()
    build.MakeShell(shell)
    for face in each_of(making.Shape(), TopAbs_ShapeEnum.TopAbs_FACE):
        build.Add(shell, face)
    # Claimed of every shell alike; whether it is so the checker says.
    shell.Closed(True)
    build.MakeSolid(solid)
    build.Add(solid, shell)
    return solid


def is_valid(shape):
    from OCP.BRepCheck import BRepCheck_Analyzer

    return BRepCheck_Analyzer(shape).IsValid()


def test_step_is_a_valid_solid_to_an_open_cad_kernel(small):
    """The triangles that the kernel has read, each made a plane face by the kernel itself: its checker of exact shapes
    (BRepCheck) calls that solid valid, and its volume is the part's.

    Of the tessellated solid as it is read it cannot be asked: the checker calls no face valid that has no surface, be it one
    that the kernel made itself of one triangle. That is shown here, and that the checker sees a triangle gone or turned.
    """
    from OCP.BRep import BRep_Builder
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopoDS import TopoDS_Face

    without_surface = TopoDS_Face()
    BRep_Builder().MakeFace(without_surface, in_the_kernel(np.eye(3), [[0, 1, 2]]))
    assert not is_valid(without_surface), "it can be asked of the part as it is read now"
    corner, whole = np.vstack([np.zeros(3), np.eye(3)]), [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]
    assert is_valid(as_exact_solid(corner, whole))
    assert not is_valid(as_exact_solid(corner, whole[:3]))
    assert not is_valid(as_exact_solid(corner, [whole[0][::-1], *whole[1:]]))

    places, triangles = by_place(triangles_in_the_kernel(small))
    solid = as_exact_solid(places, triangles)
    assert len(list(each_of(solid, TopAbs_ShapeEnum.TopAbs_FACE))) == len(small.part)
    assert is_valid(solid)
    found = GProp_GProps()
    BRepGProp.VolumeProperties_s(solid, found, False, False, False)
    mm = METRES[small.case["unit"]] * 1000
    assert found.Mass() == pytest.approx(trimesh.load(small.stl).volume * mm**3, rel=1e-6)


def test_step_is_read_by_an_open_cad_kernel(made):
    """Its unit, the volume of the triangles, and each fitting: valid, of its exact volume, its radii and axis exact."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.BRepGProp import BRepGProp
    from OCP.GeomAbs import GeomAbs_SurfaceType as Kind
    from OCP.GProp import GProp_GProps
    from OCP.STEPControl import STEPControl_Reader
    from OCP.TopAbs import TopAbs_ShapeEnum

    def volume(shape, by_triangles):
        found = GProp_GProps()
        BRepGProp.VolumeProperties_s(shape, found, False, False, by_triangles)
        return found.Mass()

    reader = STEPControl_Reader()
    assert reader.ReadFile(str(file_of(made, "step"))).name == "IFSelect_RetDone"
    assert reader.TransferRoots() == 1
    shape = reader.OneShape()
    # The kernel turns every length into millimetres.
    mm = METRES[made.case["unit"]] * 1000
    solids = list(each_of(shape, TopAbs_ShapeEnum.TopAbs_SOLID))
    ends = [e for e in made.case["end"] if e.get("fitting", {}).get("kind") in ("tube", "cone", "socket")]
    assert len(solids) == 1 + len(ends)
    part, fittings = solids[0], solids[1:]
    reference = trimesh.load(made.stl)
    assert volume(part, True) == pytest.approx(reference.volume * mm**3, rel=1e-6)
    for end, solid in zip(ends, fittings):
        assert is_valid(solid), end["name"]
        along = np.array(end["place"]["along"]) / np.linalg.norm(end["place"]["along"])
        radii = []
        for face in each_of(solid, TopAbs_ShapeEnum.TopAbs_FACE):
            surface = BRepAdaptor_Surface(as_face(face))
            if surface.GetType() == Kind.GeomAbs_Cylinder:
                cylinder = surface.Cylinder()
                radii.append(cylinder.Radius() / mm)
                axis = cylinder.Axis().Direction()
                assert abs(np.array([axis.X(), axis.Y(), axis.Z()]) @ along) == pytest.approx(1, abs=1e-12)
        fitting = end["fitting"]
        given = [fitting[k] / 2 for k in ("bore", "outside") if k in fitting]
        assert all(min(abs(np.array(radii) - r)) <= 1e-12 * r for r in given), (radii, given)
        if fitting["kind"] == "tube" and "flange" not in fitting:
            exact = np.pi / 4 * (fitting["outside"] ** 2 - fitting["bore"] ** 2) * fitting["length"]
            assert volume(solid, False) == pytest.approx(exact * mm**3, rel=1e-9)


# --- Sections


def section_files(made, kind):
    folder = made.folder / "part-sections"
    if not folder.is_dir():
        pytest.skip("made without --all-files")
    return sorted(folder.glob(f"*.{kind}"))


def flat_area(points):
    x, y = np.array(points, float)[:, :2].T
    return abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def tightest_area(made, name):
    stations = next(e["stations"] for e in made.proof["ends"] if e["name"] == name)
    return min(s["area_part"] for s in stations if s["area_part"] is not None)


def test_dxf_sections_pass_the_readers_audit_and_have_the_proofs_area(made):
    codes = {"in": 1, "mm": 4, "cm": 5, "m": 6}
    files = section_files(made, "dxf")
    assert files
    for path in files:
        document = ezdxf.readfile(path)
        audit = document.audit()
        assert not audit.errors and not audit.fixes, (path.name, audit.errors, audit.fixes)
        assert document.dxfversion == "AC1015" and document.units == codes[made.case["unit"]]
        assert {"bore", "outside", "dimensions", "notes"} <= {layer.dxf.name for layer in document.layers}
        said = " ".join(t.dxf.text for t in document.modelspace().query("TEXT[layer=='notes']"))
        assert CAUTION in said
    for end in (e for e in made.case["end"] if "fitting" in e):
        document = ezdxf.readfile(made.folder / "part-sections" / f"{end['name']}_tightest.dxf")
        lines = document.modelspace().query("LWPOLYLINE[layer=='bore']")
        assert all(line.closed for line in lines)
        # Coordinates are rounded to 32 bits.
        area = max(flat_area(line.get_points("xy")) for line in lines)
        assert area == pytest.approx(tightest_area(made, end["name"]), rel=1e-5)
        (circle,) = document.modelspace().query("CIRCLE[layer=='dimensions']")
        assert np.pi * circle.dxf.radius**2 <= area


def test_the_outside_in_a_section_is_the_meshs(made):
    """Both outlines of a fitting's face, against sections of the mesh by a library."""
    section_files(made, "dxf")
    mesh = trimesh.load(made.stl)
    for end in (e for e in made.case["end"] if e.get("fitting", {}).get("kind") == "tube" and "flange" not in e["fitting"]):
        along = np.array(end["place"]["along"]) / np.linalg.norm(end["place"]["along"])
        inset = end.get("limits", made.case["limits"]).get("deviation", made.case["limits"]["deviation"])
        height = max(end["fitting"]["length"] - inset, end["fitting"]["length"] / 2)
        path = mesh.section(plane_origin=np.array(end["place"]["at"]) + height * along, plane_normal=along)
        loops = [np.asarray(points) - path.vertices[0] for points in path.discrete]
        areas = [abs(np.cross(p[:-1], p[1:]).sum(axis=0) @ along) / 2 for p in loops]
        document = ezdxf.readfile(made.folder / "part-sections" / f"{end['name']}_face.dxf")
        for layer in ("bore", "outside"):
            (line,) = document.modelspace().query(f"LWPOLYLINE[layer=='{layer}']")
            own = flat_area(line.get_points("xy"))
            assert min(abs(np.array(areas) / own - 1)) < 1e-5, (layer, own, areas)


def test_svg_sections_are_the_same_lines_at_true_scale(made):
    # CSS: 1in is 25.4mm; one user unit is the case's unit.
    millimetres = {"mm": 1.0, "cm": 10.0, "in": 25.4}
    for path in section_files(made, "svg"):
        root = ElementTree.parse(path).getroot()
        name = lambda tag: f"{{http://www.w3.org/2000/svg}}{tag}"
        width, unit = re.fullmatch(r"([\d.e-]+)(mm|cm|in)", root.get("width")).groups()
        view = [float(v) for v in root.get("viewBox").split()]
        scale = float(width) * millimetres[unit] / view[2]
        assert scale == pytest.approx(METRES[made.case["unit"]] * 1000, rel=1e-6)
        layers = {g.get("id"): g for g in root.findall(name("g"))}
        assert list(layers) == ["bore", "outside", "dimensions", "notes"]
        assert CAUTION in root.find(name("desc")).text
        document = ezdxf.readfile(path.with_suffix(".dxf"))
        for layer in ("bore", "outside"):
            drawn = [re.findall(r"[ML](\S+) ([^LZ]+)", p.get("d")) for p in layers[layer].findall(name("path"))]
            lines = [line.get_points("xy") for line in document.modelspace().query(f"LWPOLYLINE[layer=='{layer}']")]
            for points, line in zip(drawn, lines, strict=True):
                points = np.array(points, float) * [1, -1]
                assert np.array_equal(points, np.array(line))


# --- Tables


def test_csv_tables_hold_the_proofs_figures(made):
    unit = made.case["unit"]
    if not (made.folder / "part-stations.csv").exists():
        pytest.skip("made without --all-files")
    read = lambda name: list(csv.DictReader(io.StringIO((made.folder / name).read_bytes().decode(), newline=""), strict=True))
    number = lambda text: float(text) if text else None
    stations = [(e["name"], s) for e in made.proof["ends"] for s in e["stations"]]
    for row, (name, s) in zip(read("part-stations.csv"), stations, strict=True):
        assert row["end"] == name
        wanted = [s["s"], *s["at"], s["area_scan"], s["area_part"], s["hydraulic_diameter"], s["inscribed_diameter"]]
        columns = [f"{k}_{unit}" for k in ("s", "x", "y", "z")] + [f"area_scan_{unit}2", f"area_part_{unit}2"]
        columns += [f"hydraulic_diameter_{unit}", f"inscribed_diameter_{unit}"]
        assert [number(row[c]) for c in columns] == wanted
    for row, limit in zip(read("part-limits.csv"), made.proof["limits"], strict=True):
        assert (row["limit"], row["end"], row["verdict"]) == (limit["name"], limit["end"] or "", limit["verdict"])
        bounds = limit["bounds"] or [None, None]
        assert [number(row[k]) for k in ("asked", "measured", "lower_bound", "upper_bound")] == [
            limit["asked"], limit["measured"], *bounds,
        ]
        assert row["how"] == limit["how"]
    raw = (made.folder / "part-limits.csv").read_bytes()
    assert raw.endswith(b"\r\n") and b"\n" not in raw.replace(b"\r\n", b"")
    assert CAUTION in (made.folder / "part-cautions.txt").read_text()


# --- The list


def test_every_output_is_listed_with_its_hash(made):
    listed = {o["file"]: o["sha256"] for o in made.proof["outputs"]}
    for name, digest in listed.items():
        assert hashlib.sha256((made.folder / name).read_bytes()).hexdigest() == digest, name
    there = {p.relative_to(made.folder).as_posix() for p in made.folder.rglob("*") if p.is_file()}
    beside = {n for n in there if n.startswith("inputs/")} | {"proof.json"}
    assert {"report.html", "report.pdf"} <= set(listed)
    assert there - beside == set(listed)


# --- Values at points


def test_ply_values_agree_with_sampled_distances(made):
    """Thickness at points of the bore is no less than the least distance to samples of the outside allows, and deviation no
    more than the proof's bound: a reference library's closest points on the other groups' triangles."""
    mesh = trimesh.load(file_of(made, "ply"), process=False, maintain_order=True)
    points, groups = obj_groups(file_of(made, "obj"))
    raw = mesh.metadata["_ply_raw"]["vertex"]["data"]
    names = ("deviation", "thickness", "thickness_ray", "thickness_ball")
    values = {name: raw[name].reshape(-1).astype(float) for name in names}
    bounds = [l["bounds"][1] for l in made.limit("deviation") if l["bounds"]]
    moved = np.abs(values["deviation"][np.isfinite(values["deviation"])])
    assert len(moved) and moved.max() <= max(bounds) * (1 + 1e-6)
    side = lambda word: np.concatenate([f for name, f in groups.items() if word in name.split("_")[:2]])
    bore, outside = side("bore"), side("outside")
    own = np.setdiff1d(np.unique(bore), np.unique(outside))
    own = own[np.isfinite(values["thickness"][own])]
    some = np.random.default_rng(1).choice(own, 200, replace=False)
    other = trimesh.Trimesh(points.astype(float), outside, process=False)
    _, distance, _ = trimesh.proximity.closest_point(other, points[some].astype(float))
    assert np.allclose(values["thickness"][some], distance, rtol=1e-5, atol=1e-5 * mesh.scale / 100)
