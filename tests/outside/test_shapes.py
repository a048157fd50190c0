"""Recognised shapes: SciPy's least squares on the same points, and the fittings that cases ask for.

Both minimise the same sum of squares, orthogonal distances weighted by a third of the triangles' areas, so they agree
far within a standard error. The distances are written here from their textbook form, with axes as free vectors.
"""

import numpy as np
import pytest
from scipy.optimize import least_squares

from stl_reading import read_stl, write_stl

AXIS = np.array([0.3, -0.2, 0.933]) / np.linalg.norm([0.3, -0.2, 0.933])
AT = np.array([12.0, -7.0, 30.0])
NOISE = 0.03


def grid(heights, radii, sides=96):
    """Corners of the triangles of a surface of revolution about `AXIS`, moved by independent noise."""
    u = np.cross(AXIS, [1.0, 0.0, 0.0])
    u /= np.linalg.norm(u)
    v = np.cross(AXIS, u)
    angle = np.arange(sides) * 2 * np.pi / sides
    round_ = np.cos(angle)[:, None] * u + np.sin(angle)[:, None] * v
    points = AT + np.asarray(radii)[:, None, None] * round_ + np.asarray(heights)[:, None, None] * AXIS
    points += np.random.default_rng(11).normal(0, NOISE, points.shape)
    a, d = points[:-1], points[1:]
    b, c = np.roll(a, -1, axis=1), np.roll(d, -1, axis=1)
    triangles = np.concatenate([np.stack([a, b, c], 2).reshape(-1, 3, 3), np.stack([a, c, d], 2).reshape(-1, 3, 3)])
    return triangles.astype(np.float32)


def weighted_points(corners):
    """Points with a third of the areas of their triangles."""
    corners = corners.astype(float)
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
    points, which = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
    return points, np.bincount(which.ravel(), np.repeat(area / 3, 3))


def off_axis(points, at, axis):
    axis = axis / np.linalg.norm(axis)
    along = (points - at) @ axis
    return np.linalg.norm(points - at - np.outer(along, axis), axis=1), along


def distance(kind, x, points):
    if kind == "sphere":
        return np.linalg.norm(points - x[:3], axis=1) - x[3]
    out, along = off_axis(points, x[:3], x[3:6])
    if kind == "cylinder":
        return out - x[6]
    return (out - x[6]) * np.cos(x[7]) - along * np.sin(x[7])


HEIGHTS = np.linspace(-12, 12, 60)
POLAR = np.linspace(0.15, np.pi - 0.15, 60)
MADE = {
    "cylinder": grid(HEIGHTS, np.full(60, 8.0)),
    "cone": grid(HEIGHTS, 8 + HEIGHTS * np.tan(0.15)),
    "sphere": grid(-9 * np.cos(POLAR), 9 * np.sin(POLAR)),
}
START = {
    "cylinder": [*(AT + 0.3), *(AXIS + 0.02), 8.4],
    "cone": [*(AT + 0.3), *(AXIS + 0.02), 8.4, 0.12],
    "sphere": [*(AT + 0.3), 9.4],
}


@pytest.mark.parametrize("kind", sorted(MADE))
def test_scipy_fits_the_same_shape_to_the_same_points(spile, tmp_path, kind):
    write_stl(tmp_path / "made.stl", MADE[kind])
    code, document, messages = spile("examine", tmp_path / "made.stl", "--json")
    assert code == 0, messages
    (shape,) = document["shapes"]
    assert shape["kind"] == kind
    points, weights = weighted_points(read_stl(tmp_path / "made.stl")[shape["triangles"]])
    root = np.sqrt(weights)
    fit = least_squares(lambda x: root * distance(kind, x, points), START[kind], xtol=1e-14, ftol=1e-14, gtol=1e-14)
    x, errors = fit.x, shape["standard_errors"]
    rms = np.sqrt(2 * fit.cost / weights.sum())
    assert rms == pytest.approx(shape["rms"], rel=1e-6)
    at = np.array(shape["at"])
    if kind == "sphere":
        assert np.linalg.norm(x[:3] - at) < 0.01 * errors["at"]
        radius = x[3]
    else:
        axis = x[3:6] / np.linalg.norm(x[3:6])
        turned = np.degrees(np.linalg.norm(np.cross(axis, shape["axis"])))
        assert turned < 0.01 * errors["axis_deg"]
        out, along = off_axis(at[None], x[:3], axis)
        assert out[0] < 0.01 * errors["at"]
        radius = x[6] + (along[0] * np.tan(x[7]) if kind == "cone" else 0.0)
    assert abs(radius - shape["radius"]) < 0.01 * errors["radius"]
    if kind == "cone":
        assert abs(np.degrees(abs(x[7])) - shape["half_angle_deg"]) < 0.01 * errors["half_angle_deg"]
        assert abs(shape["half_angle_deg"] - np.degrees(0.15)) < 4 * errors["half_angle_deg"]
    # The truth, 8 or 9; the axis's point is beside the middle of the region.
    height = (at - AT) @ AXIS
    truth = {"cylinder": 8.0, "cone": 8.0 + height * np.tan(0.15), "sphere": 9.0}[kind]
    assert abs(shape["radius"] - truth) < 4 * errors["radius"]


def test_the_fittings_of_a_part_are_recognised(spile, made):
    code, document, messages = spile("examine", made.stl, "--json")
    assert code == 0, messages
    chord = made.case["limits"].get("chord", 0.01)
    for end in made.case["end"]:
        if end.get("fitting", {}).get("kind") != "tube":
            continue
        along = np.array(end["place"]["along"]) / np.linalg.norm(end["place"]["along"])
        for key, hollow in [("bore", True), ("outside", False)]:
            radius = end["fitting"][key] / 2
            fits = [
                s
                for s in document["shapes"]
                if s["kind"] == "cylinder"
                and s["hollow"] == hollow
                and abs(s["radius"] - radius) <= chord
                and np.linalg.norm(np.cross(s["axis"], along)) < 1e-3
                and off_axis(np.array([s["at"]]), np.array(end["place"]["at"]), along)[0][0] < 0.1 * chord
            ]
            assert fits, (end["name"], key)
