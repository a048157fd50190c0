"""The server of `spile open` as a script sees it: the guide's own script does a whole job through the
description that the server gives of itself, and the description is held against the standard and
against what is answered.
"""

import importlib.util
import json
import math
import struct
import subprocess
from urllib.error import HTTPError
from urllib.request import Request, urlopen

import pytest
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator, validate

from conftest import ROOT, demanded

BORE, OUTSIDE, BEND, TURN, AROUND, ALONG = 5.0, 7.0, 60.0, 0.7, 48, 40


def guide_script():
    spec = importlib.util.spec_from_file_location("script", ROOT / "docs/src/script.py")
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    return script


def duct():
    """A bent duct with both walls and open ends, invented, as binary STL."""

    def ring(k, radius):
        turn = TURN * k / ALONG
        for i in range(AROUND):
            angle = 2 * math.pi * i / AROUND
            out = BEND - radius * math.cos(angle)
            yield (BEND - out * math.cos(turn), radius * math.sin(angle), out * math.sin(turn))

    triangles = []
    for radius, is_outside in ((BORE, False), (OUTSIDE, True)):
        for k in range(ALONG):
            below, above = list(ring(k, radius)), list(ring(k + 1, radius))
            for i in range(AROUND):
                j = (i + 1) % AROUND
                for a, b, c in ((below[i], below[j], above[j]), (below[i], above[j], above[i])):
                    triangles.append((a, b, c) if is_outside else (a, c, b))
    rows = (struct.pack("<12fH", 0, 0, 0, *a, *b, *c, 0) for a, b, c in triangles)
    return struct.pack("<80sI", b"an invented duct", len(triangles)) + b"".join(rows)


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """A server with the duct in its folder, and its folder."""
    folder = tmp_path_factory.mktemp("served")
    (folder / "scan").mkdir()
    (folder / "scan" / "duct.stl").write_bytes(duct())
    command = [demanded("SPILE_BIN"), "open", "--no-browser", "--json"]
    program = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=folder)
    said = "".join(iter(program.stdout.readline, "}\n")) if program.poll() is None else ""
    if not said.strip():
        why = program.stderr.read()
        # Where there is no Node the page is not built, and nothing is served.
        assert "built without its page" in why, why
        pytest.skip("spile was built without its page")
    server = guide_script().Server(json.loads(said + "}")["address"])
    yield server, folder
    server.ask("end")
    assert program.wait(10) == 0


def description(server):
    return json.loads(urlopen(f"{server.address}/api/openapi.json").read())


def test_the_description_is_as_the_standard_has_it(served):
    # OpenAPI 3.1, by the schema of the OpenAPI Initiative.
    validate(description(served[0]), cls=OpenAPIV31SpecValidator)


def test_the_guides_script_does_the_whole_job(served):
    server, folder = served
    fetched = folder / "fetched"
    tube = {"kind": "tube", "bore": 10.0, "outside": 14.0, "length": 12.0}
    edits = [
        {"path": ["end", 0, "fitting"], "value": tube},
        {"path": ["end", 0, "place"], "value": {"gap": 8.0}},
        {"path": ["end", 0, "reach"], "value": 8.0},
        {"path": ["limits"], "value": None},
        {"path": ["limits", "deviation"], "value": 0.1},
        {"path": ["limits", "wall_min"], "value": 1.2},
    ]
    state = guide_script().make(server, folder / "scan" / "duct.stl", edits, fetched)
    assert state["result"]["verdict"] == "held", state["result"]["limits"]
    proved = subprocess.run([demanded("SPILE_BIN"), "prove", fetched, "--json"], capture_output=True, text=True)
    assert proved.returncode == 0, proved.stdout + proved.stderr
    again = {row["name"]: row for row in json.loads(proved.stdout)["limits"]}
    assert again["wall_min"]["asked"] == 1.2 and again["wall_min"]["verdict"] == "held"
    # Every file that the proof lists came over, byte for byte.
    out = folder / state["result"]["folder"]
    for file in state["result"]["files"]:
        assert (fetched / file["name"]).read_bytes() == (out / file["name"]).read_bytes(), file


def test_what_is_answered_is_what_is_described(served):
    server, _ = served
    told = description(server)
    state = server.until(lambda state: state["result"] and state["result"]["has_maps"], 60)
    plane = {"through": [0.0, 0.0, 1.0], "facing": [0.0, 0.0, 1.0]}
    asked = {
        "state": None,
        "fittings": None,
        "section": plane,
        "line": {"from": [0.0, 0.0, 0.0], "facing": [0.0, 0.0, -1.0], "bore": 10.0},
    }
    for name, ask in asked.items():
        method, path = server.ways[name]
        schema = told["paths"][path][method.lower()]["responses"]["200"]["content"]["application/json"]["schema"]
        checker = Draft202012Validator({**schema, "components": told["components"]})
        checker.validate(json.loads(server.ask(name, ask)))
    # The layout of a surface, as its description has it.
    surface = server.ask("part_surface")
    mark, points, triangles, has_regions = struct.unpack_from("<4s3I", surface)
    assert (mark, has_regions, triangles) == (b"SPLM", 1, state["result"]["part"]["triangles"])
    assert len(surface) == 16 + 12 * points + 12 * triangles + triangles
    assert max(surface[-triangles:]) <= 5
    for which in ("deviation", "wall"):
        assert len(server.ask("part_map", which=which)) == 4 * points


def test_what_is_refused_says_so_as_described(served):
    server, _ = served
    told = description(server)
    schema = told["components"]["schemas"]["ErrorDocument"]
    checker = Draft202012Validator({**schema, "components": told["components"]})
    for name, (method, path) in server.ways.items():
        if "requestBody" not in told["paths"][path][method.lower()]:
            continue
        body = b'{"no": "such thing"}'
        request = Request(server.address + path.format(name="x.txt", k=0, which="x"), body, method=method)
        with pytest.raises(HTTPError) as refused:
            urlopen(request)
        assert refused.value.code == 422, name
        checker.validate(json.load(refused.value))
