"""The rules of the 3MF core specification that check-values 3.1 lists, checked on a file's bytes with nothing but
Python's own ZIP and XML readers. Each rule is named by its section."""

import re
import zipfile
from xml.etree import ElementTree

import numpy as np

CORE = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"
RELATIONSHIPS = "{http://schemas.openxmlformats.org/package/2006/relationships}"
TYPES = "{http://schemas.openxmlformats.org/package/2006/content-types}"
START = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
THUMBNAIL = "http://schemas.openxmlformats.org/package/2006/relationships/metadata/thumbnail"
UNITS = {"micron", "millimeter", "centimeter", "inch", "foot", "meter"}
NAMES = {"Title", "Designer", "Description", "Copyright", "LicenseTerms", "Rating", "CreationDate", "ModificationDate", "Application"}
KINDS = {"model", "solidsupport", "support", "surface", "other"}
# B.1.1, ST_Number.
NUMBER = re.compile(r"[+-]?(\d+(\.\d+)?|\.\d+)([eE][+-]?\d+)?")


def package_rules(package):
    """Section 1.1 and 2: the ZIP package and its parts."""
    broken = []
    names = package.namelist()
    for entry in package.infolist():
        if entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            broken.append("1.1 compression")
        if b"\x01\x00" == entry.extra[:2]:
            broken.append("1.1 needless ZIP64")
    if len(set(names)) != len(names):
        broken.append("2 a part twice")
    types = ElementTree.fromstring(package.read("[Content_Types].xml"))
    known = {d.get("Extension"): d.get("ContentType") for d in types.findall(TYPES + "Default")}
    if known.get("rels") != "application/vnd.openxmlformats-package.relationships+xml":
        broken.append("OPC content type of relationships")
    if known.get("model") != "application/vnd.ms-package.3dmanufacturing-3dmodel+xml":
        broken.append("C.1 content type of the model")
    if any(n.rsplit(".", 1)[-1] not in known for n in names if n != "[Content_Types].xml"):
        broken.append("OPC a part without content type")
    relations = ElementTree.fromstring(package.read("_rels/.rels")).findall(RELATIONSHIPS + "Relationship")
    targets = [(r.get("Type"), r.get("Target")) for r in relations]
    if len(set(targets)) != len(targets):
        broken.append("2.1.1 a relationship twice")
    if len({r.get("Id") for r in relations}) != len(relations):
        broken.append("OPC a relationship's id twice")
    if any(r.get("TargetMode") == "External" for r in relations):
        broken.append("2.1.1 a reference outside the package")
    if any(not target.startswith("/") or target[1:] not in names for _, target in targets):
        broken.append("2.2.3 a part's name is not absolute, or names none")
    starts = [target for kind, target in targets if kind == START]
    if len(starts) != 1 or not re.fullmatch(r"/3D/.+\.model", starts[0]):
        broken.append("2.1.1 not one start part")
        return broken, None, None
    pictures = [target for kind, target in targets if kind == THUMBNAIL]
    for picture in pictures:
        if not package.read(picture[1:]).startswith(b"\x89PNG\r\n\x1a\n") or known.get("png") != "image/png":
            broken.append("2.1.1 a thumbnail that is no PNG")
    return broken, package.read(starts[0][1:]), pictures


def model_rules(text, unit):
    """Section 2.3, 3 and 4: the model."""
    broken = []
    try:
        plain = text.decode("utf-8")
    except UnicodeDecodeError:
        return ["2.3.2 not UTF-8"]
    if "<!DOCTYPE" in plain:
        broken.append("2.3.2 a DTD")
    model = ElementTree.fromstring(text)
    children = [c.tag for c in model if c.tag != CORE + "metadata"]
    if model.tag != CORE + "model" or children != [CORE + "resources", CORE + "build"]:
        return broken + ["3.4 not one model of resources, then build"]
    if model.get("unit", "millimeter") not in UNITS or model.get("unit", "millimeter") != unit:
        broken.append("3.4 unit")
    names = [m.get("name") for m in model.findall(CORE + "metadata")]
    if len(set(names)) != len(names):
        broken.append("3.4.1 a name twice")
    prefixes = set(re.findall(r'xmlns:(\w+)="[^"]+"', plain.split("<resources>")[0]))
    if any(n not in NAMES and n.split(":")[0] not in prefixes for n in names):
        broken.append("3.4.1 an own name without a namespace")
    objects = model.findall(f"{CORE}resources/{CORE}object")
    ids = [o.get("id") for o in objects]
    if len(set(ids)) != len(ids) or any(not i.isdigit() or not 1 <= int(i) < 2**31 for i in ids):
        broken.append("3.4.2 ids")
    kinds = {o.get("id"): o.get("type", "model") for o in objects}
    if not set(kinds.values()) <= KINDS:
        broken.append("4 an object's type")
    items = [i.get("objectid") for i in model.findall(f"{CORE}build/{CORE}item")]
    if not items or any(i not in kinds or kinds[i] == "other" for i in items):
        broken.append("3.4.3 a build item")
    for found in objects:
        broken += object_rules(found, kinds[found.get("id")])
    return broken


def object_rules(found, kind):
    broken = []
    vertices = found.findall(f"{CORE}mesh/{CORE}vertices/{CORE}vertex")
    rows = [[v.get(k) for k in "xyz"] for v in vertices]
    if any(not NUMBER.fullmatch(x) for row in rows for x in row):
        return ["B.1.1 a number"]
    points = np.array(rows, np.float32).astype(float)
    if len(np.unique(points, axis=0)) != len(points):
        broken.append("4.1.3 a vertex twice")
    triangles = found.findall(f"{CORE}mesh/{CORE}triangles/{CORE}triangle")
    corners = np.array([[int(t.get(k)) for k in ("v1", "v2", "v3")] for t in triangles])
    if kind == "model" and len(corners) < 4:
        return broken + ["4.1.4 fewer than 4 triangles"]
    if corners.min() < 0 or corners.max() >= len(points):
        return broken + ["4.1.3 an index"]
    if any(len(set(t)) < 3 for t in corners.tolist()):
        broken.append("4.1.4 a corner twice")
    a, b, c = (points[corners[:, k]] for k in range(3))
    if (np.linalg.norm(np.cross(b - a, c - a), axis=1) == 0).any():
        broken.append("4.1 a triangle without area")
    if kind in ("model", "solidsupport"):
        directed = corners[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
        _, count = np.unique(np.sort(directed, axis=1), axis=0, return_counts=True)
        if (count != 2).any():
            broken.append("4.1 an edge not of two triangles")
        if len(np.unique(directed, axis=0)) != len(directed):
            broken.append("4.1 an edge twice one way")
        if np.einsum("ij,ij->i", a, np.cross(b, c)).sum() <= 0:
            broken.append("4.1 normals inward")
    return broken


def broken_rules(path, unit):
    """What of the rules a file breaks, with its unit by the 3MF name; and its thumbnails' names."""
    with zipfile.ZipFile(path) as package:
        broken, model, pictures = package_rules(package)
    return broken if model is None else broken + model_rules(model, unit), pictures
