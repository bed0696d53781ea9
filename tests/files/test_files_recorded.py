"""What is recorded survives other programs, and times as short as electronic shutters have."""

import struct
from datetime import UTC, datetime

import pytest

from blendkit.files import exif, ifd, xmp
from blendkit.files.exif_make import rational

ELEMENTS = """<x:xmpmeta xmlns:x="adobe:ns:meta/">
<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:own="{own}" xmlns:xmp="http://ns.adobe.com/xap/1.0/">
<own:Background>wide.tif</own:Background><own:Note>foreground from stopped.tif</own:Note>
<xmp:Rating>5</xmp:Rating>
</rdf:Description></rdf:RDF></x:xmpmeta>"""


def test_a_note_is_known_as_elements_too() -> None:
    """RDF/XML (W3C, 2014, 2.12): properties may be written as attributes or as elements."""
    packet = ELEMENTS.format(own=xmp.NAMESPACE).encode()
    found = xmp.properties_of(packet)
    assert found == {"Background": "wide.tif", "Note": "foreground from stopped.tif"}
    again, kept = xmp.merged(packet, {"Note": "n"}, software="s", changed_at=datetime.now(UTC))
    assert kept
    assert xmp.properties_of(again) == {"Note": "n"}
    assert b"Rating" in again


@pytest.mark.parametrize("parts", [1, 3, 125, 8000, 16_000, 32_000, 64_000])
def test_a_shutter_time_is_read_as_it_was_written(parts: int) -> None:
    directory, dropped = ifd.parse(ifd.dump_block({exif.EXPOSURE_TIME: rational(1 / parts)}))
    assert dropped == 0
    entry = directory[exif.EXPOSURE_TIME]
    assert isinstance(entry, ifd.Entry)
    assert struct.unpack("<2I", entry.data) == (1, parts)


@pytest.mark.parametrize("value", [0.0, 123_456_789.123, 1e12, 1e-12, 30.0, 2.8, 0.77])
def test_any_value_fits_a_fraction_of_32_bits(value: float) -> None:
    numerator, denominator = struct.unpack("<2I", rational(value).data)
    assert denominator > 0
    if 1e-9 < value < 2**32:
        assert numerator / denominator == pytest.approx(value, rel=1e-3)
