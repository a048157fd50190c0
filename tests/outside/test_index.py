"""The list of wrong readings in tests/check-values names a test for each; here each of those tests is looked up."""

import re

from conftest import ROOT


def rows():
    text = (ROOT / "tests/check-values/README.md").read_text()
    table = text[text.index("## Wrong readings") :]
    return [line.split("|")[1:-1] for line in table.splitlines() if line.startswith("|")][2:]


def test_each_wrong_reading_has_its_test_or_a_reason():
    assert len(rows()) >= 12
    for mistake, *_, where in rows():
        named = re.search(r"`([^`]+)`: `([^`]+)`", where)
        if not named:
            assert "does not apply yet: " in where, mistake
            continue
        file, function = named.groups()
        assert re.search(rf"\b(fn|def) {function}\(", (ROOT / file).read_text()), f"{mistake}: {where}"
