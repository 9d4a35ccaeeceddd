"""The PDF by another library: pages, heads, fonts, the evidence within, and a signature."""

import re
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from io import BytesIO

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import pkcs12
from cryptography.x509.oid import NameOID
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko_certvalidator import ValidationContext
from pypdf import PdfReader
from report_records import PHOTO, make_run

from gaswitness.cli import run
from gaswitness.report_blocks import Column, Paragraph, Sheets, Table, cell, one_group, said
from gaswitness.report_build import Chosen, build_report
from gaswitness.report_issues import read_issues
from gaswitness.report_pages import report_sheets
from gaswitness.report_pdf import Imprint, PdfError, report_pdf
from gaswitness.report_sign import SignError, signed_pdf
from gaswitness_probe.verdict import Outcome

PASSWORD = "only for this test"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A run, and its report as the command writes it, signed."""
    place = tmp_path_factory.mktemp("report-pdf")
    run_folder = make_run(place / "run")
    certificate = place / "me.p12"
    certificate.write_bytes(key_and_certificate())
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("REPORT_TEST_PASSWORD", PASSWORD)
        arguments = [
            *("report", str(run_folder), "-o", str(place / "out"), "--pdf"),
            *("--document", "FAT-7", "--revision", "A", "--stage", "fat"),
            *("--sign", str(certificate), "--sign-password-env", "REPORT_TEST_PASSWORD"),
        ]
        assert run(arguments) == 0
    return run_folder, place / "out" / "report.pdf", certificate


def key_and_certificate():
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Ada Quill, Tarn Controls")])
    begins = datetime(2024, 1, 1, tzinfo=UTC)
    usage = x509.KeyUsage(
        digital_signature=True,
        content_commitment=True,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=False,
        crl_sign=False,
        encipher_only=False,
        decipher_only=False,
    )
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(7)
        .not_valid_before(begins)
        .not_valid_after(begins + timedelta(days=36500))
        .add_extension(usage, critical=True)
        .sign(key, hashes.SHA256())
    )
    hidden = serialization.BestAvailableEncryption(PASSWORD.encode())
    return pkcs12.serialize_key_and_certificates(b"me", key, certificate, None, hidden)


def test_every_page_has_its_number_and_the_documents(made):
    pages = PdfReader(made[1]).pages
    assert len(pages) > 10
    for number, page in enumerate(pages, 1):
        text = page.extract_text()
        assert f"page {number} of {len(pages)}" in text
        assert "Document FAT-7" in text
        assert "Revision A" in text
        assert "Panel GDP-7" in text
    wide = [page for page in pages if page.mediabox.width > page.mediabox.height]
    assert 0 < len(wide) < len(pages)


def test_page_one_has_the_outcome_and_the_boxes(made):
    text = " ".join(PdfReader(made[1]).pages[0].extract_text().split())
    assert "Factory acceptance test (FAT) of GDP-7, rehearsed" in text
    assert "Of 2 tests of the plan: 2 proven." in text
    for party in ("Vendor (tester)", "Ada Quill", "Purchaser (witness)", "Bo Reed", "Third party"):
        assert party in text


def test_it_says_that_it_is_pdf_a_3b(made):
    """ISO 19005-3 clause 6.6.4: the version identification in the metadata. Whether all of it is
    PDF/A is checked by typst, which refuses otherwise."""
    reader = PdfReader(made[1])
    xmp = reader.trailer["/Root"]["/Metadata"].get_data().decode("utf-8")
    assert re.search(r'pdfaid:part(="|>)3["<]', xmp)
    assert re.search(r'pdfaid:conformance(="|>)B["<]', xmp)
    assert 'http://www.aiim.org/pdfa/ns/id/"' in xmp
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]


def test_all_fonts_are_within_and_drawings_keep_their_text(made):
    reader = PdfReader(made[1])
    names = set()
    for page in reader.pages:
        for font in page["/Resources"].get("/Font", {}).values():
            below = font.get_object()["/DescendantFonts"][0].get_object()
            descriptor = below["/FontDescriptor"]
            assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(descriptor)
            names.add(str(below["/BaseFont"]).rpartition("+")[2])
    assert {name.partition("-")[0] for name in names} <= {
        "LibertinusSerif",
        "DejaVuSansMono",
        "NewCMMath",
    }
    drawn = [page for page in reader.pages if "by the matrix" in page.extract_text()]
    assert drawn
    assert any("A1 30 ppm rising" in page.extract_text() for page in drawn)


def test_the_evidence_is_attached_byte_for_byte(made):
    folder, pdf, _ = made
    attached = PdfReader(pdf).attachments
    names = {name: content for name, (content,) in attached.items()}
    assert sorted(names) == ["01-label.png", "run-2.sqlite", "run.sqlite"]
    assert names["01-label.png"] == PHOTO
    for name in ("run.sqlite", "run-2.sqlite"):
        assert names[name] == (folder / name).read_bytes()


def test_the_signature_covers_the_whole_file(made):
    with made[1].open("rb") as file:
        signature = PdfFileReader(file).embedded_signatures[0]
        trusted = ValidationContext(trust_roots=[signature.signer_cert])
        status = validate_pdf_signature(signature, trusted)
        assert status.intact
        assert status.valid
        assert status.coverage.name == "ENTIRE_FILE"
        assert "Ada Quill" in signature.signer_cert.subject.human_friendly
        # no appearance of its own: that would break PDF/A
        assert [float(x) for x in signature.sig_field["/Rect"]] == [0.0, 0.0, 0.0, 0.0]


def test_a_changed_byte_breaks_the_signature(made, tmp_path):
    data = bytearray(made[1].read_bytes())
    at = data.index(b"LibertinusSerif")
    data[at] ^= 1
    path = tmp_path / "changed.pdf"
    path.write_bytes(data)
    with path.open("rb") as file:
        signature = PdfFileReader(file, strict=False).embedded_signatures[0]
        trusted = ValidationContext(trust_roots=[signature.signer_cert])
        assert not validate_pdf_signature(signature, trusted).intact


def test_a_wrong_password_says_so(made):
    with pytest.raises(SignError, match="no key that this password opens"):
        signed_pdf(b"%PDF-1.7", made[2], "wrong")
    with pytest.raises(SignError, match="no such file"):
        signed_pdf(b"%PDF-1.7", made[2].with_name("none.p12"), "wrong")


@pytest.mark.parametrize(
    ("module", "call", "error", "extra"),
    [
        ("typst", lambda: report_pdf(small("x"), Imprint("g", "f"), []), PdfError, "pdf"),
        ("pyhanko.sign", lambda: signed_pdf(b"", __file__, ""), SignError, "sign"),
    ],
)
def test_without_the_extra_it_says_which(module, call, error, extra, monkeypatch):
    monkeypatch.setitem(sys.modules, module, None)
    with pytest.raises(error, match=rf"gaswitness\[{extra}\]"):
        call()


def small(text):
    rows = [(cell(text), cell("12"))] * 200
    table = Table("Long", (Column("what"), Column("number", numbers=True)), one_group(rows))
    return Sheets("Title", "N-1", "R", "GDP-7", (Paragraph(said(text)), table), ())


def test_heads_of_tables_are_repeated_and_equal_input_is_equal_bytes():
    nasty = "#strong[no] \\ $x$ @tag <label> *b* _i_ `c` // /* \u2265 \u00b5"
    pdf = report_pdf(small(nasty), Imprint("g", "f"), [])
    assert pdf == report_pdf(small(nasty), Imprint("g", "f"), [])
    pages = PdfReader(BytesIO(pdf)).pages
    tables = [page.extract_text() for page in pages if "12" in page.extract_text()]
    assert len(tables) == 3
    assert all("what" in text for text in tables)
    assert "#strong[no] \\ $x$ @tag <label> *b* _i_ `c` // /* \u2265 \u00b5" in tables[0]


def test_whatever_failed_the_boxes_to_sign_are_on_page_one(made):
    """As much as can be open, each with a long reason and after an interruption."""
    issues = read_issues(made[0])
    report = build_report(issues, Chosen())
    why = "it came by 80.1 s, and nobody saw it at rest before that; one look cannot tell " * 3
    items = [
        replace(report.items[0], id=f"cell/AT-10{n}.A1 > V{n}", because=why, outcome=outcome)
        for outcome in (Outcome.FAILED, Outcome.INCONCLUSIVE)
        for n in range(20)
    ]
    parts = [
        replace(report.parts[0], id=f"T-0{n}", outcome=Outcome.FAILED, because=why)
        for n in range(9)
    ]
    said = (*report.words, "Issue 1 broke off after 48.7 s, went on at 58.9 s.")
    worst = replace(report, items=tuple(items), parts=tuple(parts), words=said)
    imprint = Imprint(software="x", foot="y", stamp=0)
    pages = PdfReader(BytesIO(report_pdf(report_sheets(worst, issues), imprint, []))).pages
    first = pages[0].extract_text()
    assert first.count("Signature") == 3
    assert "and 14 more, in the punch list" in " ".join(first.split())
    assert "and 6 more, under Tests" in " ".join(first.split())
