"""Every written 3MF file, read by the format's own reference library in strict mode."""

import lib3mf
import numpy as np
import pytest

from stl_reading import keys

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
