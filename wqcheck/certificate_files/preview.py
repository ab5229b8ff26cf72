"""Turns a certificate into pictures of its pages, made from the same template and data as its PDF."""

from __future__ import annotations

from wqcheck.certificate.data import Certificate
from wqcheck.certificate_files.press import press_pictures
from wqcheck.certificate_files.writing import certificate_print

PIXELS_PER_INCH = 100.0


def page_images(certificate: Certificate) -> tuple[bytes, ...]:
    """Return each page of a certificate or notice as PNG; the PDF, not the picture, is the document."""
    template, view, moment = certificate_print(certificate)
    return press_pictures(template, view, moment=moment, pixels_per_inch=PIXELS_PER_INCH)
