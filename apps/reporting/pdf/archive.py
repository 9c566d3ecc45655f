"""PDF/A-3b: what keeps a report readable for as long as it is kept, with its facts and readings inside."""

from functools import cache
from io import BytesIO

import pikepdf
from pdf_oxide import PdfDocument
from PIL import ImageCms

from apps.reporting.csvtext import csv_of
from apps.reporting.facts import Facts

READINGS, FACTS = "readings.csv", "facts.json"
HEADER_DATE, NEW_YEAR = slice(24, 36), bytes([7, 208, 0, 1, 0, 1, 0, 0, 0, 0, 0, 0])  # ICC.1: six 16-bit numbers


class NotArchivable(Exception):
    """The file is no PDF/A-3b; the sentence says what is wrong with it."""


@cache
def srgb() -> bytes:
    """The sRGB profile, always the same bytes: the day on which the library made it is taken out."""
    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    profile[HEADER_DATE] = NEW_YEAR
    return bytes(profile)


def archived(content: bytes, facts: Facts) -> bytes:
    """The file as PDF/A-3b. The same file and facts give the same bytes."""
    with pikepdf.open(BytesIO(content)) as pdf:
        _colours(pdf)
        _about(pdf, facts)
        _attach(
            pdf, FACTS, facts.text.encode(), "application/json", "Source", "All that this report says, as data", facts
        )
        _attach(pdf, READINGS, csv_of(facts).encode(), "text/csv", "Data", "Results and readings", facts)
        out = BytesIO()
        pdf.save(out, deterministic_id=True, object_stream_mode=pikepdf.ObjectStreamMode.disable)
    return out.getvalue()


def _colours(pdf: pikepdf.Pdf) -> None:
    profile = pikepdf.Stream(pdf, srgb())
    profile.N = 3
    name = pikepdf.String("sRGB IEC61966-2.1")
    intent = pikepdf.Dictionary(
        Type=pikepdf.Name.OutputIntent,
        S=pikepdf.Name.GTS_PDFA1,
        OutputConditionIdentifier=name,
        Info=name,
        DestOutputProfile=pdf.make_indirect(profile),
    )
    pdf.Root.OutputIntents = pikepdf.Array([pdf.make_indirect(intent)])


def _about(pdf: pikepdf.Pdf, facts: Facts) -> None:
    """The same words in the old place and in the new one."""
    issued = facts.report.get("issued_at") or "2000-01-01T00:00:00+00:00"
    pdf.docinfo["/CreationDate"] = pdf.docinfo["/ModDate"] = pdf_date(issued)
    producer = str(pdf.docinfo.get("/Producer", ""))
    with pdf.open_metadata(set_pikepdf_as_editor=False, update_docinfo=False) as about:
        about["dc:title"] = str(pdf.docinfo["/Title"])
        about["dc:creator"] = [str(pdf.docinfo["/Author"])]
        about["dc:description"] = str(pdf.docinfo["/Subject"])
        about["dc:language"] = ["en-GB"]
        about["xmp:CreatorTool"] = str(pdf.docinfo["/Creator"])
        about["xmp:CreateDate"] = about["xmp:ModifyDate"] = about["xmp:MetadataDate"] = issued
        about["pdf:Producer"] = producer
        about["pdfaid:part"], about["pdfaid:conformance"] = "3", "B"
    for name in ("/Keywords", "/Trapped"):
        if name in pdf.docinfo:
            del pdf.docinfo[name]


def pdf_date(moment: str) -> str:
    """D:20260312150400+01'00' of 2026-03-12T15:04:00+01:00."""
    digits = "".join(character for character in moment[:19] if character.isdigit())
    return f"D:{digits}{moment[19:22]}'{moment[23:25]}'"


def _attach(pdf: pikepdf.Pdf, name: str, content: bytes, kind: str, relation: str, words: str, facts: Facts) -> None:
    date = pdf_date(facts.report.get("issued_at") or "2000-01-01T00:00:00+00:00")
    file = pikepdf.AttachedFileSpec(
        pdf,
        content,
        filename=name,
        mime_type=kind,
        description=words,
        creation_date=date,
        mod_date=date,
        relationship=pikepdf.Name(f"/{relation}"),
    )
    pdf.attachments[name] = file


def check_archivable(content: bytes) -> None:
    """Held against the rules of PDF/A-3b by a validator that had no hand in making it."""
    found = PdfDocument.from_bytes(content).validate_pdf_a("3b")
    if not found["valid"]:
        raise NotArchivable("; ".join(str(error) for error in found["errors"]) or "the validator gives no reason")
