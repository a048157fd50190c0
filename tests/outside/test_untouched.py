"""Scan triangles beyond reach, and in keeps, are in the part bit for bit.

Which triangles are certainly beyond reach is worked out on the safe side, without connectivity: a corner at least
`reach` from a cut's plane is at least that far from the cut loop, which lies in the plane.
"""

import numpy as np

from stl_reading import keys


def heights(end, corners):
    cut = end["cut"]
    normal = np.array(cut["facing"]) / np.linalg.norm(cut["facing"])
    return (corners.astype(np.float64) - np.array(cut["through"])) @ normal


def beyond_reach(end, corners):
    """Triangles that are on the scan's side of this end and certainly beyond its reach."""
    reach = end.get("reach")
    if "cut" in end:
        height = heights(end, corners)
        if reach is None:
            return (height < -1e-3).all(axis=1)
        return (height < -1e-3).all(axis=1) & (height <= -reach).any(axis=1)
    # At a rim the loop is not known here, but its seam is, and the seam lies within trim of it.
    loop = np.array([p for side in ("bore", "outside") for p in end["seam"].get(side, [])])
    distance = np.full(corners.shape[:2], np.inf)
    for start in range(0, len(loop), 64):
        gaps = np.linalg.norm(corners[:, :, None, :] - loop[start : start + 64], axis=3)
        distance = np.minimum(distance, gaps.min(axis=2))
    # Half a step between the seam's points, and the trim at each of two walls.
    slack = 2.0 * end.get("trim", 0.0) + np.linalg.norm(np.diff(loop, axis=0), axis=1).max()
    return (distance > (reach or 0.0) + slack).any(axis=1)


def mended(made, corners, mends=None):
    """Which triangles touch the ball of a mend: of all that the case lists, or of some."""
    touched = np.zeros(len(corners), bool)
    for mend in made.case.get("mend", []) if mends is None else mends:
        inside = np.linalg.norm(corners - np.array(mend["at"]), axis=2) <= mend["radius"] * (1 + 1e-6)
        touched |= inside.any(axis=1)
    return touched


def test_what_is_beyond_reach_is_there_bit_for_bit(made):
    there = set(keys(made.part))
    counted = 0
    for corners in made.scans:
        beyond = ~mended(made, corners)
        for end in made.case["end"]:
            beyond &= beyond_reach(end, corners)
        missing = [k for k, b in zip(keys(corners), beyond) if b and k not in there]
        assert not missing, f"{len(missing)} of {beyond.sum()} triangles are gone"
        counted += int(beyond.sum())
    everything = sum(map(len, made.scans))
    assert counted > everything // 4, "the check looked at too little to mean anything"
    kept = sum(k in there for corners in made.scans for k in keys(corners))
    assert made.proof["changed"]["triangles_kept"] >= counted
    assert made.proof["changed"]["triangles_kept"] <= kept


def test_what_touches_a_keep_is_there_bit_for_bit(made):
    there = set(keys(made.part))
    for keep in made.case.get("keep", []):
        if "ball" not in keep:
            continue
        at, radius = np.array(keep["ball"]["at"]), keep["ball"]["radius"]
        found = 0
        for corners in made.scans:
            inside = (np.linalg.norm(corners - at, axis=2) <= radius).any(axis=1) & ~mended(made, corners)
            for end in made.case["end"]:
                if "cut" in end:
                    inside &= (heights(end, corners) < 0).all(axis=1)
            names = [k for k, b in zip(keys(corners), inside) if b]
            found += len(names)
            assert all(k in there for k in names)
        assert found, "the keep touches no corner of the scan"
