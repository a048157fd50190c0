"""The second judge of invented ends is judged itself: it holds what is sound and names what is planted.

Each fault is made on a part that spile calls held, by moving points of the written file and nothing else; so the proof
beside it, which still says held, is a wrong one. The judge must name the broken limit, and so must `spile prove`.
"""

import re
import shutil
import subprocess

import numpy as np
import pytest

from conftest import demanded
from part_sides import Sides, fitting_heights
from stl_reading import keys, write_stl
from stress_judge import Made, disagreements, judge, unit
from test_untouched import beyond_reach, heights


# Scenes of the half that is built round a known joint; other seeds would do. Faults are planted on the first.
SEEDS = (0, 8)


@pytest.fixture(scope="session")
def sound(request, tmp_path_factory, spile):
    """A folder of `spile run` that ended held."""
    folder = tmp_path_factory.mktemp("stress")
    subprocess.run([demanded("SPILE_STRESS"), folder, str(request.param), "1"], check=True)
    out = folder / "out"
    code, _, said = spile("run", folder / f"seed-{request.param}" / "case.toml", "--out", out)
    assert code == 0, said
    return out


class Plant:
    """A part whose points may be moved, with names for its places."""

    def __init__(self, folder):
        self.folder = folder
        self.made = Made(folder)
        self.end, self.limits = self.made.end, self.made.limits
        self.sides = Sides(self.made)
        self.points, self.faces = self.sides.points.copy(), self.sides.faces
        self.up = unit(self.end["cut"]["facing"])
        self.joint = np.zeros(len(self.faces), bool)
        for side in ("bore", "outside"):
            self.joint |= self.sides.joint(self.made, self.end | {"seam": {"bore": self.end["seam"][side]}})
        on_fitting = fitting_heights(self.end, self.points) > -1e-3
        # Points of the joint's own, off both seams.
        rim = self.among(~self.joint) | on_fitting
        self.bore = self.among(self.joint & self.sides.bore) & ~rim
        self.outside = self.among(self.joint & self.sides.outside) & ~rim
        self.fitting = on_fitting

    def among(self, chosen):
        on = np.zeros(len(self.points), bool)
        on[self.faces[chosen]] = True
        return on

    def middle(self, mask):
        """The point of these that lies nearest to half way up the joint."""
        height = fitting_heights(self.end, self.points)
        chosen = np.flatnonzero(mask)
        return chosen[abs(height[chosen] - height[chosen].min() / 2).argmin()]

    def bump(self, mask):
        """0 at both ends of these points' heights, 1 half way, smooth; 0 for all others."""
        height = heights(self.end, self.points)
        low, high = height[mask].min(), height[mask].max()
        return np.where(mask, np.sin(np.pi * np.clip((height - low) / (high - low), 0, 1)) ** 2, 0.0)

    def from_axis(self):
        """Each point less its foot on the straight line from the seam's centre to the fitting's."""
        a = np.array(self.end["seam"]["bore"]).mean(axis=0)
        line = np.array(self.end["place"]["at"]) - a
        share = (self.points - a) @ line / (line @ line)
        return self.points - a - share[:, None] * line

    def neighbours(self, point):
        around = self.faces[(self.faces == point).any(axis=1)]
        return np.setdiff1d(around, [point])


def thin_wall(plant):
    """One point of the joint's outside goes straight toward the bore."""
    point = plant.middle(plant.outside)
    bore = np.flatnonzero(plant.among(plant.sides.bore))
    nearest = bore[np.linalg.norm(plant.points[bore] - plant.points[point], axis=1).argmin()]
    way = plant.points[nearest] - plant.points[point]
    far = np.linalg.norm(way)
    plant.points[point] += way * (far - 0.6 * plant.limits["wall_min"]) / far


def narrow_bore(plant):
    """The joint's bore is drawn in, most half way up."""
    plant.points -= 0.12 * plant.bump(plant.bore)[:, None] * plant.from_axis()


def flat_bore(plant):
    """The joint is pressed flat, bore and outside alike: as much area, no room for the ball."""
    across = unit(np.cross(plant.up, plant.up[[1, 2, 0]]))
    for mask in (plant.bore, plant.outside):
        share = plant.bump(plant.bore | plant.outside) * mask
        reach = plant.from_axis()
        along = np.cross(plant.up, across)
        plant.points += share[:, None] * (-0.35 * (reach @ across)[:, None] * across + 0.6 * (reach @ along)[:, None] * along)


def crease(plant):
    """The corner opposite an edge of the scan's outside seam, in the joint, is lifted off the wall."""
    seam = np.array(plant.end["seam"]["outside"], np.float32).astype(float)
    on = np.isin(plant.points.view("V24").ravel(), seam.view("V24").ravel())
    corners = plant.faces[plant.joint & plant.sides.outside]
    corners = corners[(on[corners].sum(axis=1) == 2) & plant.outside[corners].any(axis=1)][0]
    (point,) = corners[plant.outside[corners]]
    step = np.linalg.norm(plant.points[plant.neighbours(point)] - plant.points[point], axis=1).max()
    plant.points[point] += 0.6 * step * unit(plant.from_axis()[point])


def moved_within_reach(plant):
    """A point of the replaced scan's outside leaves it by three times the deviation that is allowed."""
    in_scan = set(keys(plant.made.scans[0]))
    new = np.array([k not in in_scan for k in keys(plant.made.part)]) & plant.sides.outside & ~plant.joint
    below = heights(plant.end, plant.points) < -4 * plant.limits["deviation"]
    free = plant.among(new) & ~plant.among(~new) & below
    points = np.flatnonzero(free)
    point = points[np.abs(heights(plant.end, plant.points[points]) - np.median(heights(plant.end, plant.points[points]))).argmin()]
    plant.points[point] += 3 * plant.limits["deviation"] * unit(plant.from_axis()[point])


def moved_beyond_reach(plant):
    """One corner of the untouched scan moves by the least that f32 can tell."""
    scan = plant.made.scans[0]
    far = scan[beyond_reach(plant.end, scan)]
    corner = far[len(far) // 2, 0]
    point = np.linalg.norm(plant.points - corner, axis=1).argmin()
    plant.points[point] = np.nextafter(plant.points[point].astype(np.float32), np.float32(np.inf))


def tilted_fitting(plant):
    """The fitting leans by half a degree about the middle of its near face."""
    at, axis = np.array(plant.end["place"]["at"]), unit(plant.end["place"]["along"])
    about = unit(np.cross(axis, plant.up[[1, 2, 0]]))
    angle = np.radians(0.5)
    rel = plant.points[plant.fitting] - at
    turned = rel * np.cos(angle) + np.cross(about, rel) * np.sin(angle) + about * (rel @ about)[:, None] * (1 - np.cos(angle))
    plant.points[plant.fitting] = at + turned


def swallowed(plant):
    """A point of the joint's outside goes through the wall into the bore."""
    point = plant.middle(plant.outside)
    plant.points[point] -= 1.3 * plant.from_axis()[point]


def opened(plant):
    """A triangle of the joint is taken out."""
    plant.faces = np.delete(plant.faces, np.flatnonzero(plant.joint)[7], axis=0)


def seam_off_plane(plant):
    """The seam of the outside goes up, and the settled case, which names it, with it."""
    seam = np.array(plant.end["seam"]["outside"], np.float32)
    moved = (seam + 2 * plant.limits["deviation"] * plant.up).astype(np.float32)
    for old, new in zip(seam, moved):
        plant.points[np.linalg.norm(plant.points - old, axis=1).argmin()] = new
    case = plant.folder / "case.toml"
    listed = ",\n".join(f"[{x!r}, {y!r}, {z!r}]" for x, y, z in moved.astype(float).tolist())
    text, count = re.subn(r"^outside = \[\n.*?^\]", f"outside = [\n{listed}\n]", case.read_text(), flags=re.M | re.S)
    assert count == 1
    case.write_text(text)


FAULTS = {
    thin_wall: "wall_min",
    narrow_bore: "bore_loss",
    flat_bore: "ball_min",
    crease: "kink",
    moved_within_reach: "deviation",
    moved_beyond_reach: "untouched",
    tilted_fitting: "fitting",
    swallowed: "closed",
    opened: "closed",
    seam_off_plane: "seam",
}


@pytest.mark.parametrize("sound", SEEDS, indirect=True)
def test_sound_parts_are_held(sound):
    proof, out = judge(sound)
    assert proof["verdict"] == "held"
    assert {"closed", "untouched", "wall_min", "deviation", "kink", "bore_loss", "fitting", "ball_min", "seam"} == set(out)
    assert not [name for name, (_, broken, _) in out.items() if broken]
    assert not disagreements(proof, out)


@pytest.mark.parametrize("sound", SEEDS[:1], indirect=True)
@pytest.mark.parametrize("fault", FAULTS, ids=lambda f: f.__name__)
def test_a_planted_fault_is_named(fault, sound, tmp_path, spile):
    folder = tmp_path / "planted"
    shutil.copytree(sound, folder)
    plant = Plant(folder)
    fault(plant)
    write_stl(folder / "part.stl", plant.points.astype(np.float32)[plant.faces])
    limit = FAULTS[fault]
    proof, out = judge(folder)
    assert out[limit][1], f"{limit} is not called broken: {out[limit]}"
    assert any(line.startswith(f"wrong held {limit}") for line in disagreements(proof, out))
    code, document, said = spile("prove", folder / "case.toml", "--part", folder / "part.stl", "--json")
    assert code == 1, said
    named = {l["name"] for l in document["limits"] if l["verdict"] == "broken"}
    assert limit in named, (limit, named)
