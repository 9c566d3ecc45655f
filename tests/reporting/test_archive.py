"""The file as it is kept: PDF/A-3b, the same bytes again, its facts and readings inside."""

from io import BytesIO

import pikepdf
import pytest

from apps.reporting.csvtext import csv_of
from apps.reporting.facts import Facts
from apps.reporting.pdf import build, check_archivable, pages
from apps.reporting.pdf.archive import NotArchivable, pdf_date, srgb
from tests.reporting import paper

pytestmark = pytest.mark.once

KINDS = [{}, {"samples": 3, "is_demo": True}, {"unit": "in"}, {"limits": (None, None)}, {"stages": (1, 2, 3, 4, 5)}]


@pytest.mark.parametrize("kind", KINDS, ids=[",".join(kind) or "plain" for kind in KINDS])
def test_is_pdf_a_3b(kind):
    check_archivable(build(Facts(paper.facts(**kind))))


def test_the_validator_is_no_yes_man():
    facts = Facts(paper.facts())
    with pytest.raises(NotArchivable, match="XMP"):
        check_archivable(pages(facts))
    with pikepdf.open(BytesIO(build(facts))) as pdf:
        del pdf.Root.OutputIntents
        out = BytesIO()
        pdf.save(out)
    with pytest.raises(NotArchivable, match="OutputIntents"):
        check_archivable(out.getvalue())


def test_facts_and_readings_are_inside():
    facts = Facts(paper.facts())
    with pikepdf.open(BytesIO(build(facts))) as pdf:
        files = {name: pdf.attachments[name] for name in pdf.attachments}
        inside = {name: file.get_file().read_bytes().decode() for name, file in files.items()}
        relations = {name: str(file.obj.AFRelationship) for name, file in files.items()}
        assert len(pdf.Root.AF) == 2
    assert inside == {"facts.json": facts.text, "readings.csv": csv_of(facts)}
    assert relations == {"facts.json": "/Source", "readings.csv": "/Data"}


def test_says_the_same_of_itself_in_both_places():
    with pikepdf.open(BytesIO(build(Facts(paper.facts())))) as pdf:
        info, about = pdf.docinfo, pdf.open_metadata()
        told = (about["dc:title"], about["pdf:Producer"], about["xmp:CreatorTool"], about["xmp:CreateDate"])
        assert (about["pdfaid:part"], about["pdfaid:conformance"]) == ("3", "B")
        assert told == (str(info.Title), str(info.Producer), str(info.Creator), "2026-03-12T15:04:00+01:00")
        assert str(info.CreationDate) == str(info.ModDate) == "D:20260312150400+01'00'"


def test_the_profile_is_always_the_same():
    srgb.cache_clear()
    first = srgb()
    srgb.cache_clear()
    assert srgb() == first and first[36:40] == b"acsp"


def test_pdf_date():
    assert pdf_date("2026-01-02T03:04:05-11:30") == "D:20260102030405-11'30'"
