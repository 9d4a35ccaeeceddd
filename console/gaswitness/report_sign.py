"""A digital signature over the PDF, by whoever holds the certificate. Needs the extra `sign`.

The signature has no appearance of its own: a stamp drawn into the page would break PDF/A. The boxes
on page one are for ink.
"""

from io import BytesIO
from pathlib import Path

from gaswitness_sitefile.errors import GaswitnessError

FIELD = "Signature"
HASH = "sha256"


class SignError(GaswitnessError):
    """The PDF cannot be signed."""


def signed_pdf(pdf: bytes, certificate: Path, password: str) -> bytes:
    """The PDF with a signature (ISO 32000-1 12.8, subfilter ETSI.CAdES.detached) added to it.

    `certificate`: a PKCS #12 file with key and certificate. Raises SignError where the extra is not
    installed, or the file cannot be read or opened with that password.
    """
    try:
        from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
        from pyhanko.sign import signers
        from pyhanko.sign.fields import SigSeedSubFilter
    except ImportError:
        raise SignError(
            "a signature needs pyHanko, which is not installed: pip install 'gaswitness[sign]'"
        ) from None
    if not certificate.is_file():
        raise SignError(f"{certificate}: there is no such file: name a PKCS #12 file (.p12, .pfx)")
    signer = signers.SimpleSigner.load_pkcs12(  # type: ignore[no-untyped-call]
        str(certificate), passphrase=password.encode("utf-8") if password else None
    )
    if signer is None:
        raise SignError(
            f"{certificate}: holds no key that this password opens: check the file, and the "
            "variable that --sign-password-env names"
        )
    metadata = signers.PdfSignatureMetadata(
        field_name=FIELD,
        md_algorithm=HASH,
        subfilter=SigSeedSubFilter.PADES,
        reason="Report of a gas detection panel's test",
    )
    out = BytesIO()
    writer = IncrementalPdfFileWriter(BytesIO(pdf))
    signers.sign_pdf(writer, metadata, signer=signer, output=out)
    return out.getvalue()
