"""Which triangles of a part are on which side of its wall, told from the settled seams alone.

The part is cut along its seams and along the scan's own rims, and its end faces are taken off; what then hangs
together is one side.
"""

import numpy as np
import pytest
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from stl_reading import welded


def fitting_heights(end, points):
    along = np.array(end["place"]["along"]) / np.linalg.norm(end["place"]["along"])
    return (points - np.array(end["place"]["at"])) @ along


def open_edges(made, number):
    """The scans' own open edges, as far as the part has both their points: rings may begin there."""
    found = set()
    for scan in made.scans:
        points, faces = welded(scan)
        sides = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
        edges, count = np.unique(sides, axis=0, return_counts=True)
        for edge in edges[count == 1]:
            at = [number.get(points[p].astype(np.float32).tobytes()) for p in edge]
            if None not in at:
                found.add(frozenset(at))
    return found


class Sides:
    """Points and faces of a part; `bore`, `outside` and `joint[name]` are masks over the faces."""

    def __init__(self, made):
        self.points, self.faces = welded(made.part)
        number = {p.astype(np.float32).tobytes(): i for i, p in enumerate(self.points)}
        look_up = lambda loop: [number[(np.array(p, np.float32) + np.float32(0)).tobytes()] for p in loop]
        seams = {"bore": [], "outside": []}
        face = np.zeros(len(self.faces), bool)
        for end in made.case["end"]:
            loops = {side: look_up(end["seam"].get(side, [])) for side in seams}
            for side, loop in loops.items():
                seams[side] += list(zip(loop, loop[1:] + loop[:1])) if loop else []
            if "fitting" in end:
                if end["fitting"]["kind"] in ("mesh", "step"):
                    pytest.skip("where such a fitting ends is told by its file alone")
                length = end["fitting"]["length"]
                far = np.abs(fitting_heights(end, self.points) - length) < 0.02
                face |= far[self.faces].all(axis=1)
            else:
                ring = np.zeros(len(self.points), bool)
                ring[loops["bore"] + loops["outside"]] = True
                face |= ring[self.faces].all(axis=1) & self.runs_across(loops)
        barred = {frozenset(e) for s in seams.values() for e in s}
        self.piece = self.pieces(face, barred | open_edges(made, number))
        touching = lambda side: self.pieces_at(seams[side])
        self.bore = np.isin(self.piece, touching("bore")) & ~face
        if made.case["scan"]["form"] == "bore":
            self.outside = ~self.bore & ~face
        else:
            self.outside = np.isin(self.piece, touching("outside")) & ~face
        assert not (self.bore & self.outside).any(), "the seams do not part bore from outside"

    def runs_across(self, loops):
        """Faces that have corners on both loops of a plain end."""
        on = {s: np.isin(self.faces, loop).any(axis=1) for s, loop in loops.items()}
        return on["bore"] & on["outside"]

    def edges(self):
        sides = np.sort(self.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
        return sides, np.repeat(np.arange(len(self.faces)), 3)

    def named(self, edges):
        """One number an edge, whichever way it runs."""
        edges = np.sort(np.array(edges, np.int64).reshape(-1, 2), axis=1)
        return edges[:, 0] * len(self.points) + edges[:, 1]

    def pieces(self, face, barred):
        sides, owner = self.edges()
        name = self.named(sides)
        order = np.argsort(name, kind="stable")
        name, owner = name[order], owner[order]
        a, b = owner[0::2], owner[1::2]
        assert (name[0::2] == name[1::2]).all(), "an edge is not shared by two"
        keep = ~face[a] & ~face[b] & ~np.isin(name[0::2], self.named([tuple(e) for e in barred]))
        n = len(self.faces)
        graph = coo_matrix((np.ones(keep.sum()), (a[keep], b[keep])), shape=(n, n))
        return connected_components(graph, directed=False)[1]

    def pieces_at(self, seam):
        sides, owner = self.edges()
        return np.unique(self.piece[owner[np.isin(self.named(sides), self.named(seam))]])

    def pieces_at_bore_seam(self, end):
        """The two pieces that meet at this end's seam on the bore."""
        number = {p.astype(np.float32).tobytes(): i for i, p in enumerate(self.points)}
        loop = [number[(np.array(p, np.float32) + np.float32(0)).tobytes()] for p in end["seam"]["bore"]]
        return self.pieces_at(list(zip(loop, loop[1:] + loop[:1])))

    def off_the_scan(self, end):
        """Faces of the joint and its tube: of the two pieces at the bore's seam the one that has the far face's points."""
        length = end["fitting"]["length"]
        at_far = (np.abs(fitting_heights(end, self.points)[self.faces] - length) < 0.02).sum(axis=1)
        return self.piece == max(self.pieces_at_bore_seam(end), key=lambda p: at_far[self.piece == p].sum())

    def joint(self, made, end):
        """Faces between this end's seams and its fitting's near face."""
        heights = fitting_heights(end, self.points)[self.faces]
        beyond = (heights > 0.02).any(axis=1)
        pieces = self.pieces_at_bore_seam(end)
        # Of the two pieces at the bore's seam the one that reaches the fitting.
        reaching = [p for p in pieces if beyond[self.piece == p].any()]
        return np.isin(self.piece, reaching) & ~beyond
