"""The layers come back page by page in other programs, each by its name."""

from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageSequence

from blendkit.errors import InputError, OutputError
from blendkit.files import (
    Layers,
    read_frame,
    read_labels,
    read_mask,
    write_layer_files,
    write_layers,
)
from blendkit.frame import Frame


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


def test_separate_files_hold_the_same(tmp_path: Path, layers: Layers) -> None:
    paths = write_layer_files(tmp_path / "out.tif", layers, like=Frame(layers.result))
    assert sorted(path.name for path in paths.values()) == [
        "out.foreground.tif", "out.matte.tif", "out.plate.tif", "out.sources.png",
    ]  # fmt: skip
    matte = read_mask(paths["matte"], size=(70, 50))
    np.testing.assert_allclose(matte, layers.matte, atol=1e-5)
    np.testing.assert_array_equal(read_labels(paths["sources"]), layers.sources)
    np.testing.assert_allclose(read_frame(paths["plate"]).pixels, layers.plate, atol=2e-5)
    with pytest.raises(InputError, match="alpha"):
        read_frame(paths["foreground"])


def test_names_that_cannot_hold_layers(tmp_path: Path, layers: Layers) -> None:
    like = Frame(layers.result)
    with pytest.raises(InputError, match=r"pages of a \.tif"):
        write_layers(tmp_path / "l.png", layers, like=like)
    (tmp_path / "in.plate.tif").write_bytes(b"precious")
    with pytest.raises(OutputError, match="names the input"):
        write_layer_files(
            tmp_path / "in.tif", layers, like=like, inputs=[tmp_path / "in.plate.tif"]
        )
    assert (tmp_path / "in.plate.tif").read_bytes() == b"precious"
