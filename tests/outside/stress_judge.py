"""A second judge of invented ends: dense samples and reference libraries, no code of the prover's.

`stress_judge.py FOLDER...` reads what `spile run` left (part, scan, settled case) and judges each limit again. It
says `wrong held` where the proof says held and the samples show it broken by more than their own error, and `doubt`
where the proof says broken and the samples hold with room. It knows the scenes of the stress suite alone: one end, cut
by a plane or at a rim that is all but flat, form shell, a duct below that is straight or bends in four diameters at
least, asked limits that the rule beside the seam never lowers. In the balls of listed mends that are not wholly within
reach it looks for nothing but whether the part is sound.
"""

import json
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import igl
import igl.copyleft.cgal
import numpy as np
import trimesh
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from case_reading import read_case
from part_sides import Sides, fitting_heights
from stl_reading import keys, read_stl, welded
from test_untouched import beyond_reach, heights, mended

# What sampling may miss: sections are searched over tilts and stations, so a found loss is a little small; the
# reference area A0 is found in a like way. Shares of area.
AREA_ERROR = 1e-3
# Arithmetic on f32 coordinates, in the case's unit and in degrees.
ROUNDING = 1e-4
# Points on each surface beside its own corners: two or three a triangle.
SAMPLES = 6_000
STATIONS, TURNS, TILTS = 25, 12, np.radians([0.0, 5.0, 10.0, 15.0, 20.0])


class Made:
    """A folder of `spile run`, held or broken."""

    def __init__(self, folder):
        self.proof = json.loads((folder / "proof.json").read_text())
        self.case = read_case((folder / "case.toml").read_text())
        stl = next(p for p in (folder / "part.stl", folder / "part-broken.stl") if p.exists())
        self.part = read_stl(stl)
        self.scans = [read_stl(folder / self.case["scan"]["file"])]
        (self.end,) = self.case["end"]
        self.limits = self.case["limits"] | self.end.get("limits", {})
        self.at_rim = "cut" not in self.end
        if self.at_rim:
            # The plane that the seam lies in is told by the settled case alone.
            self.end["cut"] = {"facing": self.end["facing"], "through": centre_of_loop(self.end["seam"]["bore"]).tolist()}


def unit(v):
    return np.array(v, float) / np.linalg.norm(v)


def square_to(normal):
    u = unit(np.cross(normal, np.eye(3)[np.argmin(abs(normal))]))
    return u, np.cross(normal, u)


def areas(points, faces, at, normals):
    """Area of the section of a one-sided wall by each plane through `at`; nan where the loop does not close."""
    rel, normals = points - at, np.array(normals)
    height = rel @ normals.T
    below = height < 0
    ups = below[faces].sum(axis=1)
    faces = faces[((ups > 0) & (ups < 3)).any(axis=1)]
    starts, stops = np.zeros((2, len(faces), len(normals), 3))
    for i in range(3):
        a, b = faces[:, i], faces[:, (i + 1) % 3]
        f, k = np.nonzero(below[a] != below[b])
        ha, hb = height[a[f], k], height[b[f], k]
        p = rel[a[f]] + (ha / (ha - hb))[:, None] * (rel[b[f]] - rel[a[f]])
        rise = ha < 0
        starts[f[rise], k[rise]], stops[f[~rise], k[~rise]] = p[rise], p[~rise]
    twice = np.einsum("fkx,kx->k", np.cross(starts, stops), normals)
    gap = np.linalg.norm((stops - starts).sum(axis=0), axis=1)
    crossed = ((starts != 0) | (stops != 0)).any(axis=(0, 2))
    return np.where(crossed & (gap < 1e-6), abs(twice) / 2, np.nan)


def leaned(normal):
    u, v = square_to(normal)
    turns = np.arange(TURNS) * 2 * np.pi / TURNS
    return [np.cos(t) * normal + np.sin(t) * (np.cos(a) * u + np.sin(a) * v) for t in TILTS for a in turns[: 1 if t == 0 else None]]


def centre_of_loop(loop):
    """Centroid of the area that a nearly flat loop encloses, as a fan about its mean."""
    loop = np.array(loop)
    about = loop.mean(axis=0)
    a, b = loop - about, np.roll(loop, -1, axis=0) - about
    turned = np.cross(a, b)
    weight = turned @ unit(turned.sum(axis=0))
    return about + (weight[:, None] * (a + b)).sum(axis=0) / (3 * weight.sum())


def stations(made):
    """Points and tangents of the Hermite curve from the scan's seam to the fitting's near face."""
    a, b = centre_of_loop(made.end["seam"]["bore"]), np.array(made.end["place"]["at"])
    far = np.linalg.norm(b - a)
    m, n = far * unit(made.end["cut"]["facing"]), far * unit(made.end["place"]["along"])
    u = np.linspace(0, 1, STATIONS)[:, None]
    at = (1 + 2 * u) * (1 - u) ** 2 * a + u * (1 - u) ** 2 * m + u * u * (3 - 2 * u) * b + u * u * (u - 1) * n
    along = 6 * u * (u - 1) * (a - b) + (1 - u) * (1 - 3 * u) * m + u * (3 * u - 2) * n
    return at, along / np.linalg.norm(along, axis=1)[:, None]


def edge_angles(points, faces):
    """Each edge of a closed surface, and the angle between its two triangles' normals in degrees."""
    mesh = trimesh.Trimesh(points, faces, process=False)
    normal = np.cross(points[faces[:, 1]] - points[faces[:, 0]], points[faces[:, 2]] - points[faces[:, 0]])
    p, q = normal[mesh.face_adjacency].transpose(1, 0, 2)
    turned = np.degrees(np.arctan2(np.linalg.norm(np.cross(p, q), axis=1), (p * q).sum(axis=1)))
    return mesh.face_adjacency_edges, turned


def crossings(points, faces):
    """Pairs of triangles that intersect: exact, by libigl on CGAL."""
    found = igl.copyleft.cgal.remesh_self_intersections(points, faces, detect_only=True)
    return len(next(a for a in found if getattr(a, "ndim", 0) == 2 and a.shape[1] == 2))


def off_fitting(end, points, faces):
    """How far the part beyond the fitting's near face lies from the exact tube: its two cylinders and its far face."""
    fitting, axis = end["fitting"], unit(end["place"]["along"])
    height = fitting_heights(end, points)
    beyond = np.flatnonzero((height[faces] > -ROUNDING).all(axis=1))
    # A folded joint can stand beyond the near face, too: the fitting is what hangs together with its far face, seams apart.
    at_seam = abs(height) < ROUNDING * max(1, abs(points).max())
    pairs = trimesh.Trimesh(points, faces[beyond], process=False)
    apart = at_seam[pairs.face_adjacency_edges].all(axis=1)
    joined = pairs.face_adjacency[~apart]
    graph = coo_matrix((np.ones(len(joined)), joined.T), shape=(len(beyond), len(beyond)))
    piece = connected_components(graph, directed=False)[1]
    # It may reach beyond the far face as well, so that is told by its own height.
    beyond = beyond[piece == piece[abs(height[faces[beyond]] - fitting["length"]).max(axis=1).argmin()]]
    height = np.where(np.isin(np.arange(len(points)), faces[beyond]), height, 0)
    samples = trimesh.sample.sample_surface(trimesh.Trimesh(points, faces[beyond], process=False), SAMPLES, seed=5)[0]
    samples = np.vstack([samples, points[height > ROUNDING]])
    along = fitting_heights(end, samples)
    radius = np.linalg.norm(samples - np.array(end["place"]["at"]) - along[:, None] * axis, axis=1)
    bore, outside = fitting["bore"] / 2, fitting["outside"] / 2
    walls = np.hypot(np.minimum(abs(radius - bore), abs(radius - outside)), np.maximum(0, along - fitting["length"]))
    far = np.hypot(along - fitting["length"], np.maximum(0, np.maximum(bore - radius, radius - outside)))
    return np.minimum(walls, far).max()


def judge(folder):
    """A dict of limit -> (measured, broken beyond the samples' error, held with room)."""
    made = Made(folder)
    end, limits, scan = made.end, made.limits, made.scans[0]
    points, faces = welded(made.part)
    mesh, out = trimesh.Trimesh(points, faces, process=False), {}
    sound = mesh.is_watertight and mesh.is_winding_consistent and mesh.volume > 0 and mesh.body_count == 1
    sound = sound and crossings(points, faces) == 0
    out["closed"] = (float(sound), not sound, sound)
    off = max(abs(heights(end, np.array(loop))).max() for loop in end["seam"].values())
    allowed = limits["deviation"]
    if made.at_rim:
        # What is given up lies above the seam, and so does the rim's highest tooth.
        off, allowed = heights(end, scan).max(), end["trim"]
    out["seam"] = (off, off > allowed + limits["deviation"] * made.at_rim + ROUNDING, off < 0.9 * allowed)
    in_part, of_scan = keys(made.part), keys(scan)
    there = set(in_part)
    # At a rim the plane is the seam's, which may lie a deviation off what reach is measured from.
    reach = end | {"reach": end["reach"] + 2 * limits["deviation"] * made.at_rim}
    as_scanned = ~mended(made, scan)
    missed = sum(k not in there for k, b in zip(of_scan, beyond_reach(reach, scan) & as_scanned) if b)
    out["untouched"] = (missed, missed > 0, missed == 0)

    if not mesh.is_watertight:
        return made.proof, out  # An open part has no sides to measure between.
    worst, chord = off_fitting(end, points, faces), limits.get("chord", 0.01)
    out["fitting"] = (worst, worst > chord + ROUNDING, worst < 0.9 * chord)
    try:
        sides = Sides(made)
    except AssertionError:
        # Bore and outside are told apart by seams and a flat far face in place; without those the rest has no meaning.
        assert any(broken for _, broken, _ in out.values())
        return made.proof, out
    joint, off_scan = np.zeros(len(faces), bool), np.zeros(len(faces), bool)
    for side in ("bore", "outside"):
        # The pieces are told from the seam that is called the bore's.
        at_seam = end | {"seam": {"bore": end["seam"][side]}}
        joint |= sides.joint(made, at_seam)
        # A folded joint stands beyond the near face, and may reach below the cut there: it is no replaced scan.
        off_scan |= sides.off_the_scan(at_seam)
    sample = lambda f, n, seed: np.vstack(
        [trimesh.sample.sample_surface(trimesh.Trimesh(points, f, process=False), n, seed=seed)[0], points[np.unique(f)]]
    )
    least = np.sqrt(igl.point_mesh_squared_distance(sample(faces[joint & sides.bore], SAMPLES, 1), points, faces[sides.outside])[0].min())
    back = np.sqrt(igl.point_mesh_squared_distance(sample(faces[joint & sides.outside], SAMPLES, 2), points, faces[sides.bore])[0].min())
    least = min(least, back)
    out["wall_min"] = (least, least < limits["wall_min"] - ROUNDING, least > 1.01 * limits["wall_min"])

    scan_points, scan_faces = welded(scan)
    in_scan = set(of_scan)
    # A mend within reach is part of what replaces the scan; whether one at its border is, is not told here: it
    # cannot show that the limit is broken, but may be why the proof says so.
    is_far = lambda mend: beyond_reach(end | {"reach": end["reach"] - mend["radius"]}, np.array([[mend["at"]] * 3]))[0]
    far = [mend for mend in made.case.get("mend", []) if is_far(mend)]
    new = np.array([k not in in_scan for k in in_part]) & (sides.bore | sides.outside) & ~off_scan
    new &= (heights(end, made.part) < 2 * limits["deviation"]).all(axis=1)
    kept = set(k for k in in_scan if k in there)
    gone = np.array([k not in kept for k in of_scan]) & (heights(end, scan) < -2 * limits["deviation"]).all(axis=1)

    def farthest_apart(new, gone, onto):
        lost = trimesh.Trimesh(scan_points, scan_faces[gone], process=False)
        lost = np.vstack([trimesh.sample.sample_surface(lost, SAMPLES, seed=4)[0], scan_points[np.unique(scan_faces[gone])]])
        ahead = igl.point_mesh_squared_distance(sample(faces[new], SAMPLES, 3), scan_points, scan_faces)[0].max()
        return np.sqrt(max(ahead, igl.point_mesh_squared_distance(lost, points, onto)[0].max()))

    away = farthest_apart(new & ~mended(made, made.part, far), gone & ~mended(made, scan, far), faces)
    # What is gone of a fold may lie nearer to its other sheets, which stay, than to what stands for it.
    with_border = farthest_apart(new, gone, faces[new | joint]) if far else away
    out["deviation"] = (away, away > limits["deviation"] + ROUNDING, with_border < 0.9 * limits["deviation"])

    edges, turned = edge_angles(points, faces)
    number = {p.astype(np.float32).tobytes(): i for i, p in enumerate(points)}
    near = np.flatnonzero(abs(fitting_heights(end, points)) < 0.5 * ROUNDING * max(1, abs(points).max()))
    on = np.zeros((3, len(points)), bool)
    for row, side in enumerate(("bore", "outside")):
        on[row, [number[(np.array(p, np.float32) + np.float32(0)).tobytes()] for p in end["seam"][side]]] = True
    # The fitting's seams: edges between the joint and what lies beyond its near face.
    owner = joint[mesh.face_adjacency]
    on[2, near] = True
    seam = np.zeros(len(edges), bool)
    for row in on:
        seam |= row[edges].all(axis=1) & (owner[:, 0] != owner[:, 1])
    kink = turned[seam].max()
    out["kink"] = (kink, kink > limits["kink"] + 1e-3, kink < 0.95 * limits["kink"])

    bore = (points, faces[sides.bore])
    scan_pieces = trimesh.Trimesh(scan_points, scan_faces, process=False).split(only_watertight=False)
    scan_bore = min(scan_pieces, key=lambda m: m.area)
    scan_bore = (scan_bore.vertices, scan_bore.faces)
    facing, through = unit(end["cut"]["facing"]), centre_of_loop(end["seam"]["bore"])
    losses, down = [0.0], np.arange(0.5, end["reach"], 0.25)
    for depth in down:
        here = through - depth * facing
        losses.append(float(1 - areas(*bore, here, [facing])[0] / areas(*scan_bore, here, [facing])[0]))
    radius = np.linalg.norm(np.array(end["seam"]["bore"]) - through, axis=1).max()
    below = through - (end["reach"] + 1.3 * radius * np.tan(TILTS[-1])) * facing
    circle = np.pi * end["fitting"]["bore"] ** 2 / 4
    lesser = min(circle, np.nanmin(areas(*scan_bore, below, leaned(facing))))
    at, along = stations(made)
    for p, n in zip(at, along):
        found = areas(*bore, p, leaned(n))
        if not np.isnan(found).all():
            losses.append(float(1 - np.nanmin(found) / lesser))
    loss = np.nanmax(losses)
    out["bore_loss"] = (loss, loss > limits["bore_loss"] + AREA_ERROR, loss < limits["bore_loss"] - AREA_ERROR)

    if "ball_min" in limits:
        tree = cKDTree(sample(faces[sides.bore], SAMPLES, 6))
        ball = 2 * min(widest(p, n, points, faces[sides.bore], tree, radius) for p, n in list(zip(at, along))[::4])
        out["ball_min"] = (ball, ball < limits["ball_min"] - ROUNDING, ball > 1.02 * limits["ball_min"])
    return made.proof, out


def widest(at, normal, points, faces, tree, radius):
    """The greatest distance to the bore in a plane's part of it: a ball's centre must pass the plane somewhere.

    Steered by distances to points of the bore, `tree`; told by the distance to its triangles.
    """
    u, v = square_to(normal)
    best, step = np.zeros(2), radius / 8
    offsets = np.stack(np.meshgrid(np.arange(-4, 5), np.arange(-4, 5)), axis=-1).reshape(-1, 2)
    while step > 1e-4 * radius:
        tried = best + step * offsets
        there = at + tried[:, :1] * u + tried[:, 1:] * v
        is_rough = step > 1e-2 * radius
        found = tree.query(there)[0] ** 2 if is_rough else igl.point_mesh_squared_distance(there, points, faces)[0]
        best, step, widest_sq = tried[found.argmax()], step / 3, found.max()
    return np.sqrt(widest_sq)


def disagreements(proof, out):
    """Where the samples contradict the proof: `wrong held` and `doubt` lines, each with both figures."""
    told = []
    for name, (measured, broken, room) in out.items():
        rows = [l for l in proof["limits"] if l["name"] == name]
        verdicts = {l["verdict"] for l in rows}
        figures = f"{name}: samples {measured:.6g}, proof {[l['bounds'] for l in rows]}"
        if verdicts == {"held"} and broken:
            told.append(f"wrong held {figures}")
        if "broken" in verdicts and room:
            told.append(f"doubt {figures}")
    return told


def told_of(folder):
    """The line for one folder, how many verdicts in it are wrong held, and how many doubts."""
    name = f"{folder.parent.name}/{folder.name}"
    if not (folder / "proof.json").exists():
        return f"{name}  no proof", 0, 0
    if not any((folder / part).exists() for part in ("part.stl", "part-broken.stl")):
        return f"{name}  no part: nothing is called held", 0, 0
    proof, out = judge(folder)
    told = disagreements(proof, out)
    figures = " ".join(f"{n}={m:.4g}" for n, (m, _, _) in out.items())
    count = lambda what: sum(line.startswith(what) for line in told)
    return "  ".join([name, proof["verdict"], figures, *told]), count("wrong held"), count("doubt")


def main(folders):
    wrong = doubts = 0
    with ProcessPoolExecutor() as pool:
        for line, w, d in pool.map(told_of, map(Path, folders)):
            wrong, doubts = wrong + w, doubts + d
            print(line, flush=True)
    print(f"parts judged: {len(folders)}, wrong held: {wrong}, doubts: {doubts}")
    return 1 if wrong or doubts else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
