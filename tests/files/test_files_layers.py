"""The layers come back page by page in other programs, each by its name."""

from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageSequence

from blendkit.errors import InputError
from blendkit.files import Layers, read_frame, write_layers, write_rgba
from blendkit.frame import Embedded, Frame

RDF = b"http://www.w3.org/1999/02/22-rdf-syntax-ns#"
AUX = b"http://ns.adobe.com/exif/1.0/aux/"


@pytest.fixture
def layers() -> Layers:
    rng = np.random.default_rng(2)
    result, foreground, plate = rng.random((3, 50, 70, 3), dtype=np.float32)
    sources = rng.integers(0, 8, (50, 70), dtype=np.uint8)
    return Layers(result, foreground, plate, rng.random((50, 70), dtype=np.float32), sources)


def test_pages_carry_names_kinds_and_values(tmp_path: Path, layers: Layers) -> None:
    like = Frame(layers.result)
    write_layers(tmp_path / "l.tif", layers, like=like)
    with tifffile.TiffFile(tmp_path / "l.tif") as file:
        names = [page.tags["PageName"].value for page in file.pages]
        pages = [page.asarray() for page in file.pages]
        assert file.pages[1].extrasamples == (2,)
    assert names == ["result", "foreground", "plate", "matte", "sources"]
    assert [page.shape[2:] for page in pages] == [(3,), (4,), (3,), (), ()]
    assert [str(page.dtype) for page in pages] == ["uint16"] * 4 + ["uint8"]
    np.testing.assert_array_equal(pages[4], layers.sources)
    np.testing.assert_allclose(pages[3] / 65535, layers.matte, atol=1e-5)
    np.testing.assert_array_equal(pages[1][..., 3], pages[3])


def test_another_reader_finds_the_same_pages(tmp_path: Path, layers: Layers) -> None:
    write_layers(tmp_path / "l.tif", layers, like=Frame(layers.result), bits=8)
    with Image.open(tmp_path / "l.tif") as image:
        modes = [page.mode for page in ImageSequence.Iterator(image)]
        image.seek(0)
        assert image.getexif()[305].startswith("blendkit")
    assert modes == ["RGB", "RGBA", "RGB", "L", "L"]


def test_the_first_page_reads_back_as_the_result(tmp_path: Path, layers: Layers) -> None:
    write_layers(tmp_path / "l.tif", layers, like=Frame(layers.result))
    frame = read_frame(tmp_path / "l.tif")
    np.testing.assert_allclose(frame.pixels, layers.result, atol=2e-5)
    assert any("several pages" in note for note in frame.notes)


def test_what_is_private_stays_out(tmp_path: Path, layers: Layers) -> None:
    serial = b"B-0815"
    packet = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="' + RDF + b'">'
    packet += b'<rdf:Description rdf:about="" xmlns:aux="' + AUX + b'" aux:SerialNumber="' + serial
    packet += b'"/></rdf:RDF></x:xmpmeta>'
    like = Frame(layers.result, embedded=Embedded(xmp=packet))
    for private in (False, True):
        write_layers(tmp_path / "l.tif", layers, like=like, private=private)
        write_rgba(tmp_path / "f.tif", layers.result, layers.matte, like=like, private=private)
        for name in ("l.tif", "f.tif"):
            assert (serial in (tmp_path / name).read_bytes()) is not private


def test_colours_with_a_matte_are_refused_as_a_frame(tmp_path: Path, layers: Layers) -> None:
    write_rgba(tmp_path / "f.tif", layers.result, layers.matte, like=Frame(layers.result))
    with pytest.raises(InputError, match="alpha"):
        read_frame(tmp_path / "f.tif")


def test_names_that_cannot_hold_layers(tmp_path: Path, layers: Layers) -> None:
    like = Frame(layers.result)
    with pytest.raises(InputError, match=r"pages of a \.tif"):
        write_layers(tmp_path / "l.png", layers, like=like)
