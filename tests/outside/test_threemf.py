"""Every written 3MF file, read by the format's own reference library in strict mode."""

import zipfile

import lib3mf
import numpy as np
import pytest

from stl_reading import keys
from threemf_rules import broken_rules

NANO_UNITS = {"mm": "MilliMeter", "cm": "CentiMeter", "m": "Meter", "in": "Inch"}


def read_strictly(path):
    wrapper = lib3mf.get_wrapper()
    model = wrapper.CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(path))
    warnings = [reader.GetWarning(i) for i in range(reader.GetWarningCount())]
    return model, warnings


def test_the_reference_reader_has_no_warning_and_finds_the_same_triangles(made):
    model, warnings = read_strictly(made.folder / "part.3mf")
    assert not warnings
    assert model.GetUnit() == getattr(lib3mf.ModelUnit, NANO_UNITS[made.case["unit"]])
    items = model.GetBuildItems()
    assert items.MoveNext()
    found = items.GetCurrent().GetObjectResource()
    assert found.IsManifoldAndOriented()
    vertices = np.array([list(v.Coordinates) for v in found.GetVertices()], np.float32)
    triangles = np.array([list(t.Indices) for t in found.GetTriangleIndices()])
    assert sorted(keys(vertices[triangles])) == sorted(keys(made.part))
    assert not items.MoveNext()


def test_the_cautions_travel_with_the_part(made):
    model, _ = read_strictly(made.folder / "part.3mf")
    group = model.GetMetaDataGroup()
    texts = [group.GetMetaData(i).GetValue() for i in range(group.GetMetaDataCount())]
    assert any("geometry only" in text for text in texts)


def test_the_reference_reader_does_refuse_a_broken_file(tmp_path):
    # So that the checks above can fail at all.
    bad = tmp_path / "bad.3mf"
    bad.write_bytes(b"PK\x03\x04 not a package")
    with pytest.raises(Exception):
        read_strictly(bad)


THREEMF_UNITS = {"mm": "millimeter", "cm": "centimeter", "m": "meter", "in": "inch"}


def test_every_rule_of_the_core_specification_is_kept(made):
    broken, pictures = broken_rules(made.folder / "part.3mf", THREEMF_UNITS[made.case["unit"]])
    assert broken == []
    assert len(pictures) == 1, "the thumbnail"


MODEL = """<?xml version="1.0" encoding="UTF-8"?>
<model unit="millimeter" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02" xmlns:own="urn:own">
<metadata name="Title">t</metadata><metadata name="own:Verdict">held</metadata>
<resources><object id="1" type="model"><mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="1" y="0" z="0"/>
<vertex x="0" y="1e0" z="0"/><vertex x="0" y="0" z=".5"/></vertices><triangles><triangle v1="0" v2="2" v3="1"/>
<triangle v1="0" v2="1" v3="3"/><triangle v1="0" v2="3" v3="2"/><triangle v1="1" v2="2" v3="3"/></triangles></mesh></object>
</resources><build><item objectid="1"/></build></model>"""
TYPES = """<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">
<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>
<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>"""
RELATIONS = """<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">
<Relationship Target="/3D/m.model" Id="a" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>"""


@pytest.mark.parametrize(
    ("rule", "old", "new"),
    [
        (None, "", ""),
        ("C.1", "vnd.ms-package", "vnd.other"),
        ("OPC content type", "openxmlformats-package.rel", "openxmlformats.rel"),
        ("2.1.1 not one", "2013/01/3dmodel", "2013/01/else"),
        ("2.1.1 a reference outside", 'Id="a"', 'Id="a" TargetMode="External"'),
        ("2.2.3", 'Target="/3D', 'Target="3D'),
        ("2.3.2 a DTD", "<model unit", "<!DOCTYPE model><model unit"),
        ("3.4 unit", '"millimeter"', '"mile"'),
        ("3.4 unit", 'unit="millimeter"', 'unit="inch"'),
        ("3.4.1 a name twice", 'name="own:Verdict"', 'name="Title"'),
        ("3.4.1 an own name", "own:Verdict", "Verdict"),
        ("3.4.2", 'id="1" type', 'id="0" type'),
        ("3.4.3", 'objectid="1"', 'objectid="2"'),
        ("3.4.3", 'type="model"', 'type="other"'),
        ("4 an object", 'type="model"', 'type="mould"'),
        ("B.1.1", 'z=".5"', 'z="1."'),
        ("4.1.3 a vertex twice", 'x="1" y="0"', 'x="0" y="0"'),
        ("4.1.3 an index", 'v1="1" v2="2" v3="3"', 'v1="1" v2="2" v3="4"'),
        ("4.1.4 a corner", 'v1="1" v2="2" v3="3"', 'v1="1" v2="3" v3="3"'),
        ("4.1 a triangle without area", 'x="1" y="0" z="0"', 'x="0" y="2" z="0"'),
        ("4.1 an edge not", 'v1="1" v2="2" v3="3"', 'v1="0" v2="2" v3="3"'),
        ("4.1 an edge twice", 'v1="1" v2="2" v3="3"', 'v1="2" v2="1" v3="3"'),
        ("4.1 normals inward", 'z=".5"', 'z="-.5"'),
    ],
)
def test_each_rule_can_be_broken(tmp_path, rule, old, new):
    path = tmp_path / "a.3mf"
    with zipfile.ZipFile(path, "w") as package:
        parts = {"[Content_Types].xml": TYPES, "_rels/.rels": RELATIONS, "3D/m.model": MODEL}
        if old:
            assert sum(text.count(old) for text in parts.values()) == 1, old
        for name, text in parts.items():
            package.writestr(name, text.replace(old, new) if old else text)
    broken, _ = broken_rules(path, "millimeter")
    assert broken == [] if rule is None else any(b.startswith(rule) for b in broken), broken
