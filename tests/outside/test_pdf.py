"""The report as PDF: what PDF/A-2a asks for, and the proof's own numbers.

No checker of PDF/A-2a is to be had. What ISO 19005-2 and ISO 32000-1 ask for (clauses from memory) is read with pikepdf; the same
document, written as PDF/A-1b, goes through PDFBox Preflight. Text is read with pdfium.
"""

import re
import shutil
import subprocess

import pikepdf
import pypdfium2

from conftest import demanded

SPACE = re.compile(r"[\s\u200b\u202f\u00a0]+")


def squeezed(text):
    """Without any white space: where lines end is the page's own matter."""
    return SPACE.sub("", text.replace("\ufffe", ""))


def text_of(path):
    document = pypdfium2.PdfDocument(path)
    return "\n".join(page.get_textpage().get_text_range() for page in document)


def elements(node):
    """Every structure element below a node, itself first."""
    if isinstance(node, pikepdf.Array):
        for kid in node:
            yield from elements(kid)
    elif isinstance(node, pikepdf.Dictionary) and node.get("/S") is not None:
        yield node
        if "/K" in node:
            yield from elements(node.K)


def fonts(pdf):
    for page in pdf.pages:
        holders = [page.obj]
        while holders:
            resources = holders.pop().get("/Resources", {})
            yield from (font for _, font in resources.get("/Font", {}).items())
            holders += [x for _, x in resources.get("/XObject", {}).items() if x.get("/Subtype") == "/Form"]


def program(font):
    """The font's program, in itself or in the one it is composed of."""
    inner = font.DescendantFonts[0] if "/DescendantFonts" in font else font
    descriptor = inner.get("/FontDescriptor", {})
    return [descriptor[k] for k in ("/FontFile", "/FontFile2", "/FontFile3") if k in descriptor]


def test_the_report_is_a_tagged_file_for_keeping(made):
    with pikepdf.open(made.folder / "report.pdf") as pdf:
        root = pdf.Root
        with pdf.open_metadata() as xmp:
            assert (xmp["pdfaid:part"], xmp["pdfaid:conformance"]) == ("2", "A")
            assert xmp["dc:title"]
        assert [i.S for i in root.OutputIntents] == ["/GTS_PDFA1"]
        assert root.OutputIntents[0].DestOutputProfile.read_bytes()[36:40] == b"acsp", "an ICC profile"
        assert bool(root.MarkInfo.Marked)
        assert str(root.Lang).startswith("en")
        assert "/Encrypt" not in pdf.trailer and "/ID" in pdf.trailer
        assert "/AA" not in root and "/OpenAction" not in root and "/JavaScript" not in root.get("/Names", {})
        found = list(fonts(pdf))
        assert found
        for font in found:
            assert len(program(font)) == 1, font.BaseFont
            assert "/ToUnicode" in font, font.BaseFont
        tags = list(elements(root.StructTreeRoot.K))
        kinds = [str(tag.S) for tag in tags]
        for kind in ("/H1", "/H2", "/Table", "/TR", "/TH", "/TD", "/L", "/LI", "/P", "/Figure"):
            assert kind in kinds, kind
        for tag in tags:
            if tag.S == "/Figure":
                assert len(str(tag.get("/Alt", ""))) > 10


def test_pictures_are_those_of_the_page(made):
    """As many figures with the same words for those who cannot see them."""
    page = (made.folder / "report.html").read_text()
    told = [a or b for a, b in re.findall(r'<img alt="([^"]*)"|<svg role="img" aria-label="([^"]*)"', page)]
    plain = lambda text: re.sub(r"&(amp|lt|gt|quot|#39|apos);", lambda m: {"amp": "&", "lt": "<", "gt": ">", "quot": '"'}.get(m[1], "'"), text)
    with pikepdf.open(made.folder / "report.pdf") as pdf:
        tags = elements(pdf.Root.StructTreeRoot.K)
        alts = [str(tag.Alt) for tag in tags if tag.S == "/Figure"]
    assert alts == [plain(text) for text in told]


def shows(text, value):
    """Whether a number in a text is the value, to the digits that are shown: bounds are rounded outward by up to one of the last."""
    for word in re.findall(r"-?\d+(?:\.\d+)?", text):
        shown = float(word)
        last = 10.0 ** -len(word.partition(".")[2]) if "." in word or abs(shown) >= 1000 else 0.0
        if abs(shown - value) <= last * 1.000001 + 1e-12:
            return True
    return False


def test_numbers_of_the_limits_are_the_proofs(made):
    """Each row of the limits' table says what the proof says: name, end, what was measured, its bounds and the verdict."""
    text = " ".join(re.sub("[\u202f\u00a0\ufffe]", "", text_of(made.folder / "report.pdf")).split())
    at = text.index("Each limit as it was asked and as it was measured")
    limits = made.proof["limits"]
    starts = []
    for limit in limits:
        at = text.index(f"{limit['name']} ", at) + len(limit["name"])
        starts.append(at)
    for limit, start, end in zip(limits, starts, [*starts[1:], starts[-1] + 200], strict=True):
        row = text[start:end]
        assert (limit["end"] or "") in row and limit["verdict"].replace("_", " ") in row, (limit["name"], row)
        # Shares are told in percent.
        scale = 100.0 if "%" in row else 1.0
        for value in [limit["measured"], *(limit["bounds"] or [])]:
            assert value is None or shows(row.replace(limit["end"] or "\0", ""), scale * value), (limit["name"], value, row)


def test_the_same_document_passes_a_checker_of_1b_whatever_its_text_is(tmp_path):
    made = next(p.parent for p in sorted(demanded("SPILE_MADE").glob("*/part.stl")))
    folder = tmp_path / "made"
    shutil.copytree(made, folder)
    # A name that would stop the typesetter if it were read as markup, with a letter that no font of it has.
    case = (folder / "case.toml").read_text()
    wild = "#panic(1) *a $x_ <b> \u4e2d"
    named, count = re.subn(r'^name = ".*"$', f'name = "{wild}"', case, count=1, flags=re.M)
    assert count == 1
    (folder / "case.toml").write_text(named)
    files = [tmp_path / "2a.pdf", tmp_path / "1b.pdf"]
    subprocess.run([demanded("SPILE_REPORT_PDF"), folder / "case.toml", folder / "part.stl", *files], check=True, timeout=300)
    words = squeezed(text_of(files[0]))
    assert words == squeezed(text_of(files[1]))
    assert words.startswith(squeezed("Proof of " + wild.replace("\u4e2d", "[U+4E2D]")))

    def judged(path):
        command = ["java", "-cp", str(demanded("SPILE_PREFLIGHT")), "org.apache.pdfbox.preflight.Validator_A1b", path]
        return subprocess.run(command, capture_output=True, encoding="utf-8", timeout=300)

    done = judged(files[1])
    assert done.returncode == 0 and "is a valid PDF/A-1b file" in done.stdout, done.stdout + done.stderr
    # The checker does find faults: what is no 1b is refused.
    assert judged(files[0]).returncode != 0
