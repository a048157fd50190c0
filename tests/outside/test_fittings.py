"""Standard cones and sockets on parts as written, by a library's sections, against tests/check-values."""

import csv

import numpy as np
import pytest
import trimesh

from conftest import ROOT, held_folders
from stl_reading import welded

TABLE = ROOT / "tests" / "check-values" / "cones-iso5356.csv"
# Sections at an end of a taper are taken this far inside it.
INSIDE = 1e-3


def published(size):
    """Diameters by distance from the free end, cone and socket: reading A of the table."""
    rows = {row["size_mm"]: row for row in csv.DictReader(TABLE.open())}
    row = {k: v for k, v in rows[size].items() if k not in ("mark", "source")}
    basic, length = float(row["basic_diameter_mm"]), float(row["male_cone_length_mm"])
    ends = float(row["reading_A_male_small_end_mm"]), float(row["reading_A_male_large_end_mm"])
    cone = {INSIDE: ends[0], float(row["min_engagement_mm"]): basic, length - INSIDE: ends[1]}
    socket = {INSIDE: basic, length - INSIDE: basic - length / 40}
    return {"cone": cone, "socket": socket}


def section(mesh, at, along, near):
    """The section's loop nearest this radius about the axis: its points, square to the axis."""
    path = mesh.section(plane_origin=at, plane_normal=along)
    loops = [np.asarray(points) - at for points in path.discrete]
    across = [loop - np.outer(loop @ along, along) for loop in loops]
    radii = [np.linalg.norm(loop, axis=1) for loop in across]
    chosen = min(range(len(loops)), key=lambda k: abs(radii[k].mean() - near))
    return across[chosen], radii[chosen]


def test_cones_and_sockets_measure_as_published(made):
    ends = [e for e in made.case["end"] if e.get("fitting", {}).get("kind") in ("cone", "socket")]
    if not ends:
        pytest.skip("no cone or socket in this case")
    points, faces = welded(made.part)
    mesh = trimesh.Trimesh(points, faces, process=False)
    chord = made.case["limits"]["chord"]
    for end in ends:
        fitting, place = end["fitting"], end["place"]
        kind = fitting["kind"]
        along = np.array(place["along"]) / np.linalg.norm(place["along"])
        free_end = np.array(place["at"]) + fitting["length"] * along
        clearance = {"cone": -1, "socket": 1}[kind] * fitting["allowance"]
        measured = {}
        for depth, diameter in published(fitting["size"].removeprefix("breathing-"))[kind].items():
            diameter += clearance
            loop, radii = section(mesh, free_end - depth * along, along, diameter / 2)
            # Every corner within the chord of the circle; so is every side's middle.
            middles = np.linalg.norm((loop[1:] + loop[:-1]) / 2, axis=1)
            assert abs(np.concatenate([radii, middles]) - diameter / 2).max() <= chord + 1e-4
            area = abs(np.cross(loop[:-1], loop[1:]).sum(axis=0) @ along) / 2
            measured[depth] = 2 * np.sqrt(area / np.pi)
            assert abs(measured[depth] - diameter) <= 2 * chord + 1e-4
            if kind == "socket":
                assert measured[depth] >= diameter - 1e-4
        depths = sorted(measured)
        taper = abs(measured[depths[-1]] - measured[depths[0]]) / (depths[-1] - depths[0])
        # Both diameters are off by a chord at most, and by the same share of themselves.
        assert taper == pytest.approx(1 / 40, rel=2 * chord / (diameter / 2) + 1e-3)


def test_some_part_has_a_cone_and_one_a_socket():
    text = " ".join((folder / "case.toml").read_text() for folder in held_folders())
    assert 'kind = "cone"' in text and 'kind = "socket"' in text
