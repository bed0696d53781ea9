"""Deliveries, opened by other libraries."""

import hashlib
import io
import json
import os
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import imagecodecs
import numpy as np
import pytest
import tifffile
from click.testing import CliRunner
from PIL import Image, ImageCms

from blendkit.cli.deliver import command
from blendkit.errors import InputError, OutputError
from blendkit.files import (
    curves,
    delivery_check,
    exif,
    ifd,
    profiles,
    read_frame,
    write_grey,
    write_picture,
    xmp,
)
from blendkit.files import deliver as deliver_module
from blendkit.files.checksums import listed, sha256, update_list
from blendkit.files.deliver import deliver, deliver_copies
from blendkit.files.delivery_plan import check_copies, check_settings
from blendkit.files.delivery_spec import parse_delivery
from blendkit.files.mark import is_marked
from blendkit.frame import Capture, Embedded, Float, Frame
from blendkit.settings import DeliverySettings


@pytest.fixture
def scene() -> Float:
    """Return a smooth picture, 300 x 200 px, with a dim and a bright corner."""
    y, x = np.mgrid[0:200, 0:300] / 200
    planes = [0.1 + 0.3 * x, 0.05 + 0.4 * y, 0.2 + 0.1 * np.sin(9 * x) * np.cos(7 * y)]
    return np.stack(planes, axis=-1).astype(np.float32)


@pytest.fixture
def master(tmp_path: Path, scene: Float) -> Path:
    like = Frame(scene, embedded=Embedded(profiles.wide()))
    write_picture(tmp_path / "gate.tif", scene, like=like)
    return tmp_path / "gate.tif"


def test_a_lab_copy_is_what_was_asked_for(tmp_path: Path, master: Path) -> None:
    before = master.read_bytes()
    settings = DeliverySettings(
        print_width_cm=2.54, print_height_cm=1.27, dpi=100, fit="crop", subsampling="4:2:0"
    )
    done = deliver(master, settings)
    assert done.path == tmp_path / "gate-srgb-100x50-crop.jpg"
    with Image.open(done.path) as image:
        assert image.size == (100, 50)
        assert image.info["dpi"] == pytest.approx((100, 100), abs=0.5)
        assert image.info["icc_profile"] == profiles.srgb()
        assert image.layer[0][1:3] == (2, 2)  # 4:2:0: the first channel sampled twice as finely
        image.load()
    assert done.sha256 == hashlib.sha256(done.path.read_bytes()).hexdigest()
    assert master.read_bytes() == before


def test_colours_are_converted_as_pillows_littlecms_does(master: Path, scene: Float) -> None:
    settings = DeliverySettings(profile="srgb", format="tiff", bits=8)
    done = deliver(master, settings)
    codes = np.rint(curves.SRGB.encode(scene) * 255).astype(np.uint8)
    expected = ImageCms.profileToProfile(
        Image.fromarray(codes),
        ImageCms.ImageCmsProfile(io.BytesIO(profiles.wide())),
        ImageCms.ImageCmsProfile(io.BytesIO(profiles.srgb())),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
    )
    apart = np.abs(tifffile.imread(done.path).astype(int) - np.asarray(expected))
    # Pillow starts from 8-bit codes: a code of rounding, twice that where the matrix amplifies.
    assert np.percentile(apart, 99) <= 2
    assert apart.mean() < 0.6


def test_keeping_profile_and_size_keeps_every_code(master: Path) -> None:
    done = deliver(master, DeliverySettings(profile="keep", format="tiff", bits=16))
    apart = np.abs(tifffile.imread(done.path).astype(int) - tifffile.imread(master))
    assert apart.max() <= 1
    assert done.gamut.share == 0


def test_the_gamut_report_counts_what_was_put_outside(tmp_path: Path) -> None:
    """A tenth of the picture is a green that BT.2020 has and sRGB has not."""
    pixels = np.full((100, 100, 3), 0.3, np.float32)
    pixels[:10] = (0.02, 0.5, 0.02)
    write_picture(
        tmp_path / "g.tif", pixels, like=Frame(pixels, embedded=Embedded(profiles.wide()))
    )
    done = deliver(tmp_path / "g.tif", DeliverySettings())
    assert done.gamut.share == pytest.approx(0.1)
    assert 5 < done.gamut.largest < 40
    wide = deliver(tmp_path / "g.tif", DeliverySettings(profile="wide"))
    assert (wide.gamut.share, wide.gamut.largest) == (0, 0)


def test_light_survives_the_reduction(master: Path) -> None:
    """The mean of linear light is that of the picture, which resizing of encoded values misses."""
    checker = (np.indices((200, 300)).sum(axis=0) % 2).astype(np.float32)
    pixels = np.repeat(checker[..., None], 3, axis=2)
    write_picture(master.with_name("c.tif"), pixels, like=Frame(pixels))
    done = deliver(master.with_name("c.tif"), DeliverySettings(long_edge_px=50, format="tiff"))
    assert read_frame(done.path).pixels[5:-5, 5:-5].mean() == pytest.approx(0.5, abs=0.01)


def test_a_border_lies_around_the_whole_picture(master: Path) -> None:
    settings = DeliverySettings(
        print_width_cm=5.08, print_height_cm=2.54, dpi=100, format="tiff", border="white"
    )
    done = deliver(master, settings)
    assert done.size == (200, 100)
    codes = tifffile.imread(done.path)
    assert (codes[:, :25] == 255).all()
    assert (codes[:, -25:] == 255).all()
    assert (codes[:, 25:-25].min(axis=2) < 255).all()


def test_a_crop_follows_the_sitter(master: Path, scene: Float) -> None:
    settings = DeliverySettings(
        print_width_cm=2.54,
        print_height_cm=2.54,
        dpi=200,
        fit="crop",
        profile="keep",
        format="tiff",
    )
    subject = np.zeros((200, 300), np.float32)
    subject[20:180, 230:280] = 1
    middle = read_frame(deliver(master, settings).path).pixels
    named = replace(settings, name="around")
    around = read_frame(deliver(master, named, subject=subject).path).pixels
    np.testing.assert_allclose(middle, scene[:, 50:250], atol=0.005)
    np.testing.assert_allclose(around, scene[:, 100:300], atol=0.005)
    with pytest.raises(InputError, match="subject mask: is 9 x 9 px"):
        deliver(master, settings, subject=np.ones((9, 9), np.float32))


def test_sharpening_is_off_by_default_and_draws_no_halo(tmp_path: Path) -> None:
    edge = 0.25 + 0.15 * np.tanh((np.arange(60) - 30) / 2.5)
    pixels = np.tile(edge[None, :, None], (60, 1, 3)).astype(np.float32)
    like = Frame(pixels)
    write_picture(tmp_path / "e.tif", pixels, like=like)
    plain = DeliverySettings(profile="keep", format="tiff", bits=16, name="p")
    soft = tifffile.imread(deliver(tmp_path / "e.tif", plain).path).astype(int)
    strong = DeliverySettings(
        profile="keep", format="tiff", bits=16, name="s", sharpen=1.5, sharpen_disc_px=8
    )
    crisp = tifffile.imread(deliver(tmp_path / "e.tif", strong).path).astype(int)
    np.testing.assert_array_equal(soft, tifffile.imread(tmp_path / "e.tif"))
    contrast = soft.max() - soft.min()
    overshoot = max(crisp.max() - soft.max(), soft.min() - crisp.min())
    assert np.abs(crisp - soft).max() > 0.03 * contrast
    assert np.diff(crisp[30, :, 0]).max() > 1.15 * np.diff(soft[30, :, 0]).max()
    assert overshoot < 0.05 * contrast


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"profile": "nowhere.icc"}, "choose srgb, oprgb, wide, keep or an ICC file"),
        ({"name": "{title}"}, "there is no field 'title'"),
        ({"name": "{stem"}, "check its braces"),
        ({"name": "{}"}, "there is no field ''"),
        ({"name": "{stem.real}"}, "there is no field"),
        ({"name": "../{stem}"}, "must name a file, no folder"),
        ({"name": "{number:q}"}, "check its braces"),
    ],
)
def test_settings_that_cannot_be_met(master: Path, change: dict[str, str], message: str) -> None:
    with pytest.raises(InputError, match=message):
        deliver(master, DeliverySettings(**change))
    assert list(master.parent.iterdir()) == [master]


def test_profiles_of_other_spaces_are_refused(master: Path) -> None:
    cmyk = bytearray(profiles.srgb())
    cmyk[16:20] = b"CMYK"
    path = master.with_name("press.icc")
    path.write_bytes(cmyk)
    with pytest.raises(InputError, match="choose an RGB profile"):
        deliver(master, DeliverySettings(profile=str(path)))


def test_a_profile_that_nothing_can_be_converted_into_is_told_before_any_work(
    master: Path,
) -> None:
    """As a scanner's, which lacks the tables from light to values, or a link of two devices."""
    plain = imagecodecs.cms_profile("rgb")
    for change, name in (((b"rTRC", b"A2B0"), "scanner.icc"), ((b"mntr", b"link"), "link.icc")):
        path = master.with_name(name)
        path.write_bytes(plain.replace(*change))
        settings = DeliverySettings(profile=str(path))
        with pytest.raises(InputError, match=f"{name}: colours cannot be converted into"):
            check_settings([settings])
        with pytest.raises(InputError, match=f"{name}: colours cannot be converted into"):
            deliver(master, settings)


def test_bordered_cropped_and_trimmed_copies_of_one_size_have_names_of_their_own(
    master: Path,
) -> None:
    wanted = [
        parse_delivery(f"2.54x1.27,dpi=100{more}")
        for more in ("", ",fit=crop", ",trim=yes", ",fit=crop,trim=yes")
    ]
    check_settings(wanted)
    expected = check_copies(master, wanted, (300, 200), {master: "the result"})
    done = deliver_copies(master, wanted, covered=(0, 0, 300, 200))
    assert [copy.path for copy in done] == list(expected)
    assert [path.name.partition("100x50")[2] for path in expected] == [
        ".jpg", "-crop.jpg", "-trim.jpg", "-crop-trim.jpg",
    ]  # fmt: skip
    with pytest.raises(InputError, match=r"copy 5 would be named \S+-100x50\.jpg as copy 1 is"):
        check_copies(master, [*wanted, wanted[0]], (300, 200), {})


def test_the_result_is_never_overwritten(master: Path) -> None:
    before = master.read_bytes()
    with pytest.raises(OutputError, match="names the input"):
        deliver(master, DeliverySettings(name="{stem}", format="tiff"))
    assert master.read_bytes() == before


def test_a_strangers_file_stays_and_an_earlier_copy_gives_way(tmp_path: Path, master: Path) -> None:
    settings = DeliverySettings(name="lab")
    stranger = tmp_path / "lab.jpg"
    Image.new("RGB", (30, 20), "white").save(stranger)
    before = stranger.read_bytes()
    with pytest.raises(InputError, match=r"lab\.jpg: is there already and is no copy"):
        deliver(master, settings)
    assert stranger.read_bytes() == before
    stranger.unlink()
    (first,) = deliver_copies(master, [settings])
    (again,) = deliver_copies(master, [replace(settings, quality=40)])
    assert first.path == again.path
    assert first.sha256 != again.sha256


def test_a_copy_replaces_no_result_no_listed_picture_and_no_edited_copy(
    tmp_path: Path, master: Path, scene: Float
) -> None:
    lab = tmp_path / "lab"
    lab.mkdir()
    settings = DeliverySettings(name="{stem}", format="tiff")
    like = Frame(scene, name="wide.tif")
    write_picture(lab / "gate.tif", scene, like=like, second=Frame(scene, name="stopped.tif"))
    update_list(lab, [("gate.tif", sha256(lab / "gate.tif"))])  # a list of somebody's own
    before = (lab / "gate.tif").read_bytes()
    with pytest.raises(InputError, match=r"gate\.tif: is there already and is no copy"):
        deliver(master, settings, folder=lab)
    assert (lab / "gate.tif").read_bytes() == before
    jpeg = DeliverySettings(name="{stem}")
    copy = deliver(master, jpeg, folder=lab).path
    deliver(master, jpeg, folder=lab)
    copy.write_bytes(copy.read_bytes() + b"edited")
    with pytest.raises(InputError, match=r"gate\.jpg: was changed since it was delivered"):
        deliver(master, jpeg, folder=lab)
    assert copy.read_bytes().endswith(b"edited")


def test_copies_of_two_pairs_do_not_replace_each_other(tmp_path: Path, scene: Float) -> None:
    """Results of two shoots may have one name, and so may their frames."""

    def made(shoot: str, suffix: str, captured: datetime | None) -> Path:
        result = tmp_path / shoot / "gate.tif"
        result.parent.mkdir(exist_ok=True)
        like = Frame(scene, name=f"wide{suffix}")
        second = Frame(scene, name=f"stopped{suffix}", capture=Capture(captured_at=captured))
        write_picture(result, scene, like=like, second=second)
        return result

    (tmp_path / "lab").mkdir()
    settings = DeliverySettings(name="{stem}")
    day = datetime(2026, 5, 1, 9, 30, tzinfo=UTC)
    first = made("a", ".tif", day)
    copy = deliver(first, settings, folder=tmp_path / "lab")
    deliver(made("a", ".dng", day), settings, folder=tmp_path / "lab")  # developed another way
    said = r"is a copy of another result, gate\.tif of wide\.dng \+ stopped\.dng, and stays"
    with pytest.raises(InputError, match=said):
        deliver(made("b", ".tif", day + timedelta(days=1)), settings, folder=tmp_path / "lab")
    deliver(first, replace(settings, quality=50), folder=tmp_path / "lab")
    assert sha256(copy.path) != copy.sha256


def test_a_copy_of_what_no_merge_made_is_replaced_and_is_no_result(master: Path) -> None:
    settings = DeliverySettings(name="lab")
    copy = deliver(master, settings).path
    assert xmp.properties_of(read_frame(copy).embedded.xmp) == {"CopyOf": "gate.tif"}
    assert not is_marked(copy)
    deliver(master, settings)


def test_who_dies_while_a_copy_is_replaced_leaves_it_without_a_checksum(
    master: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings = DeliverySettings(name="lab")
    copy = deliver(master, settings).path
    with monkeypatch.context() as patched:
        patched.setattr(deliver_module, "update_list", lambda *_: None)
        deliver(master, replace(settings, quality=50))
    assert listed(copy) is None
    assert listed(deliver(master, settings).path) == sha256(copy)


def test_no_copy_is_left_beside_a_list_that_is_none(tmp_path: Path, master: Path) -> None:
    (tmp_path / "checksums.sha256").write_text("a note")
    with pytest.raises(InputError, match="is not a checksum list"):
        deliver(master, DeliverySettings())
    assert not list(tmp_path.glob("gate-*"))


def test_a_file_that_reads_back_wrong_is_not_delivered(
    master: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(delivery_check, "_DPI_ROUNDING", -1.0)
    with pytest.raises(OutputError, match="reads back with another resolution"):
        deliver(master, DeliverySettings())
    assert list(master.parent.iterdir()) == [master]


def test_the_command_delivers_several_and_reports(
    master: Path, scene: Float, tmp_path: Path
) -> None:
    second = tmp_path / "second.tif"
    write_picture(second, scene, like=Frame(scene))
    write_grey(tmp_path / "sitter.png", (scene[..., 0] > 0.4).astype(np.float32), bits=8)
    (tmp_path / "lab").mkdir()
    arguments = [str(master), str(second), "--to", str(tmp_path / "lab"), "--print", "2x1",
                 "--dpi", "127", "--fit", "crop", "--around", str(tmp_path / "sitter.png"),
                 "--name", "{number:02d}-{stem}", "--json"]  # fmt: skip
    run = CliRunner().invoke(command, arguments)
    assert run.exit_code == 0, run.output
    document = json.loads(run.stdout)
    names = [Path(record["path"]).name for record in document["delivered"]]
    assert names == ["01-gate.jpg", "02-second.jpg"]
    listed = (tmp_path / "lab" / "checksums.sha256").read_text()
    for record in document["delivered"]:
        assert record["size"] == [100, 50]
        assert record["sha256"] in listed
        assert Path(record["path"]).is_file()


@pytest.mark.parametrize("given", ["nothere.tif", "torn.tif"])
def test_a_folder_that_nothing_came_into_is_not_left_behind(tmp_path: Path, given: str) -> None:
    (tmp_path / "torn.tif").write_bytes(b"II*\0torn")
    done = CliRunner().invoke(
        command, [str(tmp_path / given), "--to", str(tmp_path / "newlab"), "--json"]
    )
    assert isinstance(done.exception, InputError)
    assert given in str(done.exception)
    assert not (tmp_path / "newlab").exists()


def test_names_that_no_disk_takes_are_told_in_one_line(tmp_path: Path, master: Path) -> None:
    long = "n" * 300
    said = {
        (str(master), "--to", f"{tmp_path}/{long}"): "cannot be made (File name too long)",
        (str(master), "--to", f"{tmp_path}/{long}/lab"): "the name is too long",
        (str(master), "--profile", f"{long}.icc"): "or an ICC file",
        (f"{long}.tif",): "cannot be read (File name too long)",
    }
    for arguments, words in said.items():
        done = CliRunner().invoke(command, list(arguments))
        assert isinstance(done.exception, (InputError, OutputError)), done.exception
        assert words in str(done.exception)
    assert list(tmp_path.iterdir()) == [master]


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may read anything")
def test_a_profile_and_a_folder_that_may_not_be_read(tmp_path: Path, master: Path) -> None:
    (tmp_path / "lab.icc").write_bytes(profiles.srgb())
    (tmp_path / "lab.icc").chmod(0)
    (tmp_path / "locked").mkdir(mode=0)
    for option, name in (("--profile", "lab.icc"), ("--profile", "locked/lab.icc"),
                         ("--to", "locked/lab")):  # fmt: skip
        done = CliRunner().invoke(command, [str(master), option, str(tmp_path / name)])
        assert isinstance(done.exception, (InputError, OutputError)), done.exception
        assert name in str(done.exception)
    (tmp_path / "locked").chmod(0o700)


def test_a_folder_with_copies_stays_though_a_later_result_is_missing(
    tmp_path: Path, master: Path
) -> None:
    arguments = [str(master), str(tmp_path / "nothere.tif"), "--to", str(tmp_path / "newlab")]
    assert isinstance(CliRunner().invoke(command, arguments).exception, InputError)
    assert list((tmp_path / "newlab").glob("gate-*.jpg"))


def test_a_long_edge_that_the_picture_has_not_is_told(master: Path) -> None:
    done = deliver(master, DeliverySettings(long_edge_px=3000))
    assert done.size == (300, 200)
    assert "300 px on its long edge, not 3000; it was not enlarged" in " ".join(done.notes)
    for settings in (
        DeliverySettings(long_edge_px=3000, enlarge=True),
        DeliverySettings(long_edge_px=150),
    ):
        assert "it was not enlarged" not in " ".join(deliver(master, settings).notes)


def test_a_long_edge_beside_a_print_is_told_as_not_heeded(master: Path) -> None:
    print_px = DeliverySettings(print_width_cm=2.54, print_height_cm=1.27, dpi=100)
    done = deliver(master, replace(print_px, long_edge_px=50))
    assert done.size == (100, 50)
    assert done.notes == ("the print's size counts, not the long edge of 50 px",)
    assert not deliver(master, print_px).notes


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--long-edge", "0"), "--long-edge = 0: allowed is 16 to 100000 px"),
        (("--sharpen", "-1"), "--sharpen = -1.0: allowed is 0 to 3"),
        (("--print", "0x20"), "--print: width = 0.0: allowed is 1 to 1000 cm"),
        (("--bits", "12"), "--bits = 12: choose 8 or 16"),
    ],
)
def test_a_value_out_of_range_is_told_by_its_option(
    master: Path, arguments: tuple[str, ...], said: str
) -> None:
    done = CliRunner().invoke(command, [str(master), *arguments])
    assert str(done.exception) == said


def test_a_delivery_in_one_word_is_told_by_its_names_too() -> None:
    with pytest.raises(InputError, match="--deliver: long-edge = 0: allowed is 16"):
        parse_delivery("full,long-edge=0")


def test_a_copy_larger_than_a_jpeg_is_told_before_any_work(tmp_path: Path) -> None:
    size = (66_000, 16)
    jpeg, small, tiff = (
        parse_delivery(f"full{more}") for more in ("", ",long-edge=60000", ",format=tiff")
    )
    said = "has 66000 x 16 px, and a JPEG at most 65500 a side; choose TIFF, or a smaller size"
    with pytest.raises(InputError, match=said):
        check_copies(tmp_path / "gate.tif", [jpeg], size, {})
    assert len(check_copies(tmp_path / "gate.tif", [small, tiff], size, {})) == 2
    check_settings([jpeg])
    wide = np.full((size[1], size[0], 3), 0.2, np.float32)
    with pytest.raises(InputError, match=said):
        write_picture(tmp_path / "gate.jpg", wide, like=Frame(wide))
    write_picture(tmp_path / "gate.tif", wide, like=Frame(wide))
    with pytest.raises(InputError, match=said):
        deliver(tmp_path / "gate.tif", jpeg)
    assert [path.name for path in tmp_path.iterdir()] == ["gate.tif"]


def test_the_command_refuses_one_name_for_two(master: Path, scene: Float) -> None:
    write_picture(master.with_name("second.tif"), scene, like=Frame(scene))
    run = CliRunner().invoke(
        command, [str(master), str(master.with_name("second.tif")), "--name", "x"]
    )
    assert isinstance(run.exception, InputError)
    assert "twice" in str(run.exception)


def test_a_trimmed_copy_lacks_the_rim_that_one_frame_alone_reaches(
    tmp_path: Path, master: Path
) -> None:
    # The foreground frame looked 6 px further right and 2 px lower.
    moved = [[1.0, 0.0, -6.0], [0.0, 1.0, -2.0], [0.0, 0.0, 1.0]]
    report = {"alignment": {"matrix": moved}, "output": {"width": 300, "height": 200}}
    (tmp_path / "gate.report.json").write_text(json.dumps(report))
    arguments = [str(master), "--to", str(tmp_path), "--format", "tiff", "--trim"]
    arguments += ["--profile", "keep", "--bits", "16"]
    done = CliRunner().invoke(command, arguments, catch_exceptions=False)
    assert done.exit_code == 0
    copy = tifffile.imread(next(tmp_path.glob("gate-keep-*.tif")))
    whole = tifffile.imread(master)
    assert copy.shape == (193, 291, 3)
    assert np.abs(copy.astype(int) - whole[5:198, 9:300]).max() <= 1


def test_a_picture_of_another_size_than_its_reports_is_not_trimmed(
    tmp_path: Path, master: Path
) -> None:
    """As where the result was cropped or reduced under its own name."""
    report = {"alignment": {"matrix": np.eye(3).tolist()}, "output": {"width": 464, "height": 200}}
    (tmp_path / "gate.report.json").write_text(json.dumps(report))
    done = CliRunner().invoke(command, [str(master), "--trim"])
    assert isinstance(done.exception, InputError)
    assert "464 x 200 px and gate.tif has 300 x 200; deliver without trim" in str(done.exception)
    with pytest.raises(InputError, match="lies beyond; deliver it without trim"):
        deliver(master, DeliverySettings(trim=True), covered=(9, 0, 300, 200))
    assert not list(tmp_path.glob("gate-*"))


def test_a_trimmed_copy_needs_the_report(tmp_path: Path, master: Path) -> None:
    done = CliRunner().invoke(command, [str(master), "--to", str(tmp_path), "--trim"])
    assert isinstance(done.exception, InputError)
    assert "gate.report.json" in str(done.exception)
    with pytest.raises(InputError, match="without trim"):
        deliver(master, DeliverySettings(trim=True))
    assert not list(tmp_path.glob("gate-*"))


@pytest.mark.parametrize(("profile", "marked"), [("srgb", 1), ("oprgb", 0xFFFF)])
def test_a_copy_says_in_which_colours_it_is(
    tmp_path: Path, scene: Float, profile: str, marked: int
) -> None:
    """Exif 3.0, ColorSpace: 1 is sRGB, FFFF anything else; a lab may trust it."""
    details = {exif.COLOUR_SPACE: ifd.short_entry(1)}
    packet = (
        '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf='
        '"http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description rdf:about=""'
        ' xmlns:exif="http://ns.adobe.com/exif/1.0/" exif:ColorSpace="1" exif:PixelXDimension="9"/>'
        "</rdf:RDF></x:xmpmeta>"
    )
    embedded = Embedded(profiles.wide(), ifd.dump_block({ifd.EXIF: details}), packet.encode())
    like = Frame(scene, name="wide.tif", embedded=embedded)
    stopped = Frame(scene, name="stopped.tif")
    write_picture(tmp_path / "gate.tif", scene, like=like, second=stopped)
    done = deliver(tmp_path / "gate.tif", DeliverySettings(profile=profile))
    copy = read_frame(done.path)
    assert copy.embedded.exif is not None
    directory = ifd.parse(copy.embedded.exif)[0]
    assert exif.number(directory, exif.COLOUR_SPACE, inside=ifd.EXIF) == marked
    assert b"exif:ColorSpace" not in (copy.embedded.xmp or b"")
    assert "foreground from stopped.tif" in xmp.properties_of(copy.embedded.xmp)["Note"]


def test_a_copy_says_what_a_jpeg_has_no_room_for(tmp_path: Path, scene: Float) -> None:
    long = "<x:xmpmeta xmlns:x='adobe:ns:meta/'><rdf:RDF xmlns:rdf="
    long += "'http://www.w3.org/1999/02/22-rdf-syntax-ns#'><rdf:Description rdf:about='' "
    long += f"xmlns:d='urn:d#' d:history='{'developed ' * 9000}'/></rdf:RDF></x:xmpmeta>"
    like = Frame(scene, embedded=Embedded(profiles.srgb(), xmp=long.encode()))
    write_picture(tmp_path / "gate.tif", scene, like=like, second=like)
    jpeg = deliver(tmp_path / "gate.tif", DeliverySettings())
    assert any("XMP is larger than a JPEG can hold" in note for note in jpeg.notes)
    assert is_marked(jpeg.path), "the note of the merge has room in any case"
    tiff = deliver(tmp_path / "gate.tif", DeliverySettings(format="tiff"))
    assert not tiff.notes
    assert b"developed" in tiff.path.read_bytes()
