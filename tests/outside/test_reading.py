"""Every file of tests/scans is read as its row says, or refused with a reason."""

import re

import pytest

from conftest import SCANS

MESHES = (".stl", ".ply", ".obj", ".3mf")

# Malformed or not supported: the row in the scans' README says why. The words are what the message must hold.
REFUSED = {
    "anatomy/SBU_F_Intestine_Large.glb": "STL",
    "anatomy/vertebrae_T12.nii.gz": "STL",
    "general/seaVase_decimated.vtp": "STL",
    "formats/3mf-MUSTFAIL_Chapter2.3.2b_DataTypeDefinitionInXMLMarkup.3mf": "",
    "formats/3mf-MUSTFAIL_Chapter3.4.3.1a_NotMatchingObjectIdInBuildItem.3mf": "",
    "formats/3mf-beamlattice-pyramid.3mf": "",
    "formats/assimp-malformed.obj": "line",
    "formats/assimp-malformed_property_index_oob.3mf": "",
    "formats/obj-negative-out-of-range-derived.obj": "line",
    "formats/ply-bin-truncated-derived.ply": "byte",
    "formats/stl-bin-count-too-big-derived.stl": "13",
    "formats/stl-bin-nan-derived.stl": "",
    "formats/stl-bin-truncated-derived.stl": "",
    "formats/trimesh-empty.stl": "",
    "formats/trimesh-points_emptyface.ply": "",
    "formats/trimesh-stl_empty_bin.stl": "",
}

# Where our count may differ from the table's, and why.
READ_OTHERWISE = {
    # The table counts what a library loads; these rows say otherwise themselves.
    "formats/stl-bin-trailing-bytes-derived.stl": None,
    "formats/stl-ascii-uppercase-cr-derived.stl": None,
    # The production and transform samples hold parts placed several times; the table counts the XML.
    "formats/3mf-core-multiple_cylinders.3mf": None,
    "formats/3mf-MUSTPASS_Chapter3.2c_MultipleItemsTransform.3mf": None,
    "formats/3mf-MUSTPASS_Chapter4.2_Components.3mf": None,
    "formats/3mf-production-box_prod.3mf": None,
    # Polygons that a library triangulates with repeated corners.
    "formats/assimp-box_longline.obj": None,
    "formats/assimp-concave_polygon.obj": None,
    "formats/assimp-box_UTF16BE.obj": None,
}


def files():
    folders = ("anatomy", "general", "defects", "formats")
    return sorted(p.relative_to(SCANS).as_posix() for f in folders for p in (SCANS / f).iterdir())


def rows():
    table = {}
    for line in (SCANS / "README.md").read_text().splitlines():
        found = re.match(r"\| `([^`]+)`", line)
        counts = re.search(r"\| (\d+) / (\d+)", line)
        if found and counts:
            table[found.group(1)] = int(counts.group(1))
    return table


@pytest.mark.parametrize("name", files())
def test_a_file_is_read_or_refused_with_a_reason(spile, name):
    code, document, messages = spile("examine", SCANS / name, "--json")
    if name in REFUSED:
        assert code == 2, f"exit {code}"
        assert name.rsplit("/", 1)[1] in messages and REFUSED[name] in messages, messages
        return
    if name in READ_OTHERWISE:
        assert code in (0, 2) and (code == 0 or messages), messages
        return
    assert code == 0, messages
    assert document["triangles"] == rows()[name.rsplit("/", 1)[1]]
