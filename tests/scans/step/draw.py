"""Draws the samples that spile's tests read: all of them invented.

    pip install cadquery-ocp && python draw.py FOLDER

They were written by Open CASCADE 8.0 (cadquery-ocp 8.0.1.1.0); another release writes other bytes of the same shapes.
Volume and area of each, as that kernel computes them, go to standard output and from there into the tests.
"""

import math
import re
import sys
from pathlib import Path

from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut, BRepAlgoAPI_Fuse
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_MakeFace, BRepBuilderAPI_MakeWire
from OCP.BRepFilletAPI import BRepFilletAPI_MakeFillet
from OCP.BRepGProp import BRepGProp
from OCP.BRepPrimAPI import BRepPrimAPI_MakeCylinder, BRepPrimAPI_MakeRevol
from OCP.GProp import GProp_GProps
from OCP.gp import gp_Ax1, gp_Ax2, gp_Circ, gp_Dir, gp_Pnt
from OCP.Interface import Interface_Static
from OCP.STEPControl import STEPControl_AsIs, STEPControl_Writer
from OCP.TopAbs import TopAbs_EDGE
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS

# Near face and axis of the trachea's fitting, as `tests/real/trachea-cut.toml` has them.
AT = (0.7, 643.64997, 41.536009)
ALONG = (0.0, 0.8854333, 0.4647665)


def cylinder(at, along, radius, height):
    return BRepPrimAPI_MakeCylinder(gp_Ax2(gp_Pnt(*at), gp_Dir(*along)), radius, height).Shape()


def on(at, along, height):
    return tuple(a + height * d / math.hypot(*along) for a, d in zip(at, along))


def round_edges(shape, radius, is_wanted):
    """Fillets on the circles for which `is_wanted` of the edge's first place holds."""
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.GeomAbs import GeomAbs_Circle

    fillet, explorer, seen = BRepFilletAPI_MakeFillet(shape), TopExp_Explorer(shape, TopAbs_EDGE), []
    while explorer.More():
        edge = TopoDS.Edge(explorer.Current())
        curve = BRepAdaptor_Curve(edge)
        if curve.GetType() == GeomAbs_Circle and not any(edge.IsSame(e) for e in seen) and is_wanted(curve.Circle()):
            seen.append(edge)
            fillet.Add(radius, edge)
        explorer.Next()
    return fillet.Shape()


def nozzle(at, along):
    """A tube of radii 8 and 10, 25 long, its flange of radius 15 and 2 thick at height 10, fillets of 1 between them."""
    tube = BRepAlgoAPI_Fuse(cylinder(at, along, 10, 25), cylinder(on(at, along, 10), along, 15, 2)).Shape()
    tube = BRepAlgoAPI_Cut(tube, cylinder(on(at, along, -1), along, 8, 27)).Shape()

    def at_flange(circle):
        middle = circle.Location()
        height = sum((m - a) * d for m, a, d in zip((middle.X(), middle.Y(), middle.Z()), at, along)) / math.hypot(*along)
        return abs(circle.Radius() - 10) < 1e-6 and min(abs(height - 10), abs(height - 12)) < 1e-6

    return round_edges(tube, 1.0, at_flange)


def annulus(at, along, radii):
    def circle(radius):
        edge = BRepBuilderAPI_MakeEdge(gp_Circ(gp_Ax2(gp_Pnt(*at), gp_Dir(*along)), radius)).Edge()
        return BRepBuilderAPI_MakeWire(edge).Wire()

    inner = circle(radii[0])
    inner.Reverse()
    face = BRepBuilderAPI_MakeFace(circle(radii[1]))
    face.Add(inner)
    return face.Face()


def bend():
    """A quarter of a bent tube of radii 8 and 10 about a line 30 away: an annulus turned about the line."""
    face = annulus((30, 0, 0), (0, 1, 0), (8, 10))
    return BRepPrimAPI_MakeRevol(face, gp_Ax1(gp_Pnt(0, 0, 0), gp_Dir(0, 0, 1)), math.pi / 2).Shape()


def elbow():
    """The same bend with a straight leg of 15 at its first end, made by booleans."""
    leg = (30, 0, 0), (0, -1, 0)
    legs = [cylinder(*leg, radius, 15) for radius in (8, 10)]
    line = gp_Ax1(gp_Pnt(0, 0, 0), gp_Dir(0, 0, 1))
    disc = lambda r: BRepBuilderAPI_MakeFace(
        BRepBuilderAPI_MakeWire(BRepBuilderAPI_MakeEdge(gp_Circ(gp_Ax2(gp_Pnt(30, 0, 0), gp_Dir(0, 1, 0)), r)).Edge()).Wire()
    ).Face()
    bends = [BRepPrimAPI_MakeRevol(disc(r), line, math.pi / 2).Shape() for r in (8, 10)]
    inner, outer = (BRepAlgoAPI_Fuse(a, b).Shape() for a, b in zip(legs, bends))
    return BRepAlgoAPI_Cut(outer, inner).Shape()


def write(shape, path, unit):
    Interface_Static.SetCVal_s("write.step.unit", unit)
    writer = STEPControl_Writer()
    writer.Transfer(shape, STEPControl_AsIs)
    writer.Write(str(path))
    text = path.read_text()
    # No clock, and no name of whoever ran this.
    text = re.sub(r"FILE_NAME\(.*?\);", "FILE_NAME('','1970-01-01T00:00:00',(''),(''),'','','');", text, flags=re.S)
    path.write_text(text)
    volume, area = GProp_GProps(), GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, volume)
    BRepGProp.SurfaceProperties_s(shape, area)
    print(f"{path.name}: volume {volume.Mass():.6f} mm3, area {area.Mass():.6f} mm2")


if __name__ == "__main__":
    folder = Path(sys.argv[1])
    write(bend(), folder / "bend.step", "MM")
    write(elbow(), folder / "elbow.step", "MM")
    write(nozzle(AT, ALONG), folder / "trachea-nozzle-inch.step", "INCH")
