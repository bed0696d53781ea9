"""What a result carries on from the background frame, and what it leaves out."""

import os
import struct
import xml.etree.ElementTree as ET
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import piexif
import pytest
import tifffile
from PIL import Image, ImageCms

from blendkit.files import exif, ifd, profiles, read_frame, write_picture, xmp
from blendkit.files.limits import MAX_PROFILE_BYTES, MAX_TAG_BYTES
from blendkit.files.mark import is_marked
from blendkit.files.write import without_room
from blendkit.frame import Capture, Embedded, Frame
from blendkit.optics.recorded_sensor import px_per_mm

NAMES = ["r.tif", "r.png", "r.jpg"]
PIXELS = np.full((30, 40, 3), 0.25, np.float32)

DIRECTORY: ifd.Directory = {
    exif.MAKE: ifd.ascii_entry("Vale"),
    exif.MODEL: ifd.ascii_entry("Vale One"),
    exif.ARTIST: ifd.ascii_entry("Åsa Lindqvist-Moreau"),
    exif.COPYRIGHT: ifd.ascii_entry("© 2025 Åsa Lindqvist-Moreau"),
    exif.ORIENTATION: ifd.short_entry(6),
    exif.DATE_TIME: ifd.ascii_entry("2025:10:04 09:00:00"),
    ifd.EXIF: {
        exif.EXPOSURE_TIME: ifd.rational_entry((1, 125)),
        exif.F_NUMBER: ifd.rational_entry((28, 10)),
        exif.ISO: ifd.short_entry(100),
        exif.ORIGINAL_TIME: ifd.ascii_entry("2025:10:03 18:41:07"),
        exif.ORIGINAL_SUBSEC: ifd.ascii_entry("250"),
        exif.ORIGINAL_OFFSET: ifd.ascii_entry("+02:00"),
        exif.SUBJECT_DISTANCE: ifd.rational_entry((52, 10)),
        exif.FLASH: ifd.short_entry(0x19),
        exif.FOCAL_LENGTH: ifd.rational_entry((135, 1)),
        exif.LENS_MODEL: ifd.ascii_entry("135 mm f/2"),
        exif.OWNER: ifd.ascii_entry("Jo Fernhollow"),
        exif.BODY_SERIAL: ifd.ascii_entry("B-0815"),
        exif.LENS_SERIAL: ifd.ascii_entry("L-4711"),
        exif.MAKER_NOTE: ifd.undefined_entry(b"offsets" * 40),
    },
    ifd.GPS: {
        1: ifd.ascii_entry("N"),
        2: ifd.rational_entry((48, 1), (12, 1), (30, 1)),
    },
}
PHOTOSHOP = "http://ns.adobe.com/photoshop/1.0/"
IPTC_EXT = "http://iptc.org/std/Iptc4xmpExt/2008-02-29/"
EXIF_XMP = "http://ns.adobe.com/exif/1.0/"
FRAME = Frame(PIXELS, name="wide.tif", embedded=Embedded(exif=ifd.dump_block(DIRECTORY)))


def test_the_capture_says_what_the_camera_recorded() -> None:
    zone = timezone(timedelta(hours=2))
    assert exif.capture_of(DIRECTORY) == Capture(
        f_number=2.8,
        exposure_time_s=1 / 125,
        iso=100,
        focal_length_mm=135,
        focus_distance_m=5.2,
        captured_at=datetime(2025, 10, 3, 18, 41, 7, 250_000, tzinfo=zone),
        camera="Vale One",
        lens="135 mm f/2",
        copyright="© 2025 Åsa Lindqvist-Moreau",
        flash_fired=True,
    )


@pytest.mark.parametrize(
    ("equivalent_mm", "size", "sensor_mm"),
    [
        (None, (6000, 4000), (36, 24)),
        (203, (6000, 4000), (24, 16)),
        (270, (5184, 3888), (17.3, 13.0)),  # by the diagonal: the long side alone says 18 mm
    ],
)
def test_the_sensor_is_as_large_as_the_equivalent_focal_length_says(
    equivalent_mm: int | None, size: tuple[int, int], sensor_mm: tuple[float, float]
) -> None:
    details = DIRECTORY[ifd.EXIF]
    assert isinstance(details, dict)
    if equivalent_mm:
        details = details | {exif.FOCAL_LENGTH_35MM: ifd.short_entry(equivalent_mm)}
    capture = exif.capture_of(DIRECTORY | {ifd.EXIF: details})
    assert px_per_mm(capture, size) == pytest.approx(size[0] / sensor_mm[0], rel=0.005)


def test_a_camera_without_a_maker_is_its_model() -> None:
    directory = {exif.MAKE: ifd.ascii_entry("\u00a0"), exif.MODEL: ifd.ascii_entry("Vale One")}
    assert "Vale One" in str(exif.capture_of(directory).camera)


@pytest.mark.parametrize("name", NAMES)
def test_a_result_carries_the_background_frames_exif(tmp_path: Path, name: str) -> None:
    write_picture(tmp_path / name, PIXELS, like=FRAME)
    again = read_frame(tmp_path / name)
    assert again.capture == exif.capture_of(DIRECTORY)
    assert again.embedded.exif is not None
    back, dropped = ifd.parse(again.embedded.exif)
    assert dropped == 0
    details, position = back[ifd.EXIF], back[ifd.GPS]
    assert isinstance(details, dict)
    assert exif.MAKER_NOTE not in details
    assert details[exif.OWNER] == ifd.ascii_entry("Jo Fernhollow")
    assert details[exif.BODY_SERIAL] == ifd.ascii_entry("B-0815")
    assert position == DIRECTORY[ifd.GPS]
    assert exif.number(back, exif.WIDTH, inside=ifd.EXIF) == 40
    assert exif.orientation(back) == 1
    stamp = exif.text(back, exif.DATE_TIME)
    assert stamp is not None
    written_at = datetime.strptime(stamp, "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007
    now = datetime.now()  # noqa: DTZ005 - Exif's own times are local
    assert abs(now - written_at) < timedelta(minutes=1)


@pytest.mark.parametrize("name", NAMES)
def test_private_leaves_out_position_owner_and_serial_numbers(tmp_path: Path, name: str) -> None:
    packet = _packet('exif:GPSLatitude="48,12.5N" aux:SerialNumber="B-0815" dc:format="x"')
    frame = Frame(PIXELS, embedded=Embedded(exif=FRAME.embedded.exif, xmp=packet))
    write_picture(tmp_path / name, PIXELS, like=frame, private=True)
    data = (tmp_path / name).read_bytes()
    for secret in (b"Fernhollow", b"B-0815", b"L-4711", b"48,12.5N", b"GPSLatitude"):
        assert secret not in data
    again = read_frame(tmp_path / name)
    assert again.capture.lens == "135 mm f/2"
    assert again.embedded.exif is not None
    assert ifd.GPS not in ifd.parse(again.embedded.exif)[0]


def test_private_leaves_out_places_by_name_and_inside_structures() -> None:
    """IPTC Photo Metadata Standard: City, Country, Location Created with a position of its own."""
    packet = f"""<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF
        xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"
        xmlns:photoshop="{PHOTOSHOP}" xmlns:ext="{IPTC_EXT}" xmlns:exif="{EXIF_XMP}"
        xmlns:dc="http://purl.org/dc/elements/1.1/">
      <rdf:Description rdf:about="" photoshop:City="Vale End" dc:format="image/tiff">
        <photoshop:Country>Valeland</photoshop:Country>
        <ext:PersonInImage><rdf:Bag><rdf:li exif:GPSLatitude="48,12.5N">x</rdf:li></rdf:Bag>
        </ext:PersonInImage>
        <ext:LocationCreated><rdf:Bag><rdf:li ext:Sublocation="Orchard gate"/></rdf:Bag>
        </ext:LocationCreated>
      </rdf:Description></rdf:RDF></x:xmpmeta>""".encode()
    now = datetime.now(timezone(timedelta(hours=2)))
    for private in (False, True):
        after, kept = xmp.merged(packet, {}, software="s", changed_at=now, private=private)
        assert kept
        assert b"image/tiff" in after
        for place in (b"Vale End", b"Valeland", b"48,12.5N", b"Orchard gate"):
            assert (place in after) is not private


@pytest.mark.parametrize("name", NAMES)
def test_the_foreground_frames_exposure_is_noted(tmp_path: Path, name: str) -> None:
    second = Frame(
        PIXELS,
        Capture(f_number=16, exposure_time_s=1 / 15, iso=1600, focal_length_mm=135),
        name="stopped.tif",
    )
    write_picture(tmp_path / name, PIXELS, like=FRAME, second=second)
    noted = xmp.properties_of(read_frame(tmp_path / name).embedded.xmp)
    assert noted["ForegroundFNumber"] == "16"
    assert float(noted["ForegroundExposureTime"]) == pytest.approx(1 / 15, rel=1e-5)
    assert noted["Background"] == "wide.tif"
    assert noted["Note"] == "foreground from stopped.tif (135 mm, f/16, 1/15 s, ISO 1600)"


def _packet(attributes: str) -> bytes:
    return (
        '<?xpacket begin="" id="W5M0MpCehiHzreSzNTczkc9d"?><x:xmpmeta xmlns:x="adobe:ns:meta/">'
        '<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description '
        'rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/" '
        'xmlns:exif="http://ns.adobe.com/exif/1.0/" xmlns:tiff="http://ns.adobe.com/tiff/1.0/" '
        'xmlns:crs="http://ns.adobe.com/camera-raw-settings/1.0/" '
        f'xmlns:aux="http://ns.adobe.com/exif/1.0/aux/" {attributes}>'
        "<dc:creator><rdf:Seq><rdf:li>Åsa</rdf:li></rdf:Seq></dc:creator><crs:ToneCurve>1"
        '</crs:ToneCurve></rdf:Description></rdf:RDF></x:xmpmeta><?xpacket end="w"?>'
    ).encode()


def test_xmp_keeps_what_holds_and_drops_what_does_not() -> None:
    packet = _packet('tiff:Orientation="6" crs:Exposure2012="+1.0" dc:format="image/tiff"')
    merged, kept = xmp.merged(
        packet, {"Note": 'a < b & "c"'}, software="blendkit", changed_at=datetime.now(UTC)
    )
    assert kept
    text = merged.decode()
    assert "Åsa" in text
    assert 'dc:format="image/tiff"' in text
    assert "Exposure2012" not in text
    assert "ToneCurve" not in text
    assert text.count("Orientation") == 1
    assert 'tiff:Orientation="1"' in text
    assert xmp.properties_of(merged) == {"Note": 'a < b & "c"'}
    again, _ = xmp.merged(merged, {}, software="blendkit", changed_at=datetime.now(UTC))
    assert xmp.properties_of(again) == {}, "a second merge does not keep the first one's note"


BOMB = b'<!DOCTYPE r [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]><r>&b;</r>'


@pytest.mark.parametrize("packet", [b"<x", b"\xff\xfe", BOMB, b"<a/>", b"plain"])
def test_damaged_xmp_is_replaced(packet: bytes) -> None:
    merged, _ = xmp.merged(packet, {"Note": "n"}, software="s", changed_at=datetime.now(UTC))
    ET.fromstring(merged)  # noqa: S314 - we wrote it
    assert xmp.properties_of(merged) == {"Note": "n"}
    assert b"aaaa" not in merged


@pytest.mark.parametrize(
    ("profile", "said"),
    [
        (profiles.srgb(), 1),
        (ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes(), 1),
        (None, 1),
        (profiles.wide(), 0xFFFF),
        (profiles.oprgb(), 0xFFFF),
    ],
)
@pytest.mark.parametrize("recorded", [1, 0xFFFF])
def test_exif_says_srgb_of_what_is_srgb_alone(
    tmp_path: Path, profile: bytes | None, said: int, recorded: int
) -> None:
    """A RAW is developed to another profile than its camera wrote down."""
    block = ifd.dump_block({ifd.EXIF: {exif.COLOUR_SPACE: ifd.short_entry(recorded)}})
    write_picture(tmp_path / "r.tif", PIXELS, like=Frame(PIXELS, embedded=Embedded(profile, block)))
    again = read_frame(tmp_path / "r.tif").embedded.exif
    assert again is not None
    assert exif.number(ifd.parse(again)[0], exif.COLOUR_SPACE, inside=ifd.EXIF) == said


@pytest.mark.parametrize("segments", [1, 2])
def test_a_profile_that_lacks_a_part_is_noted(tmp_path: Path, segments: int) -> None:
    """ICC.1:2022, B.4: a JPEG's profile stands in numbered segments that say how many there are."""
    path, data = tmp_path / "a.jpg", profiles.wide()
    Image.fromarray(np.full((20, 30, 3), 99, np.uint8)).save(path)
    plain = path.read_bytes()
    half = len(data) // 2
    parts = (data[:half], data[half:])[:segments]
    bodies = [b"ICC_PROFILE\0" + bytes([n, 2]) + part for n, part in enumerate(parts, start=1)]
    added = b"".join(b"\xff\xe2" + struct.pack(">H", len(body) + 2) + body for body in bodies)
    path.write_bytes(plain[:2] + added + plain[2:])
    frame = read_frame(path)
    lost = segments == 1
    assert (frame.embedded.icc_profile == data) is not lost
    assert frame.notes == ((PROFILE_LOST.format("a.jpg"),) if lost else ())


PROFILE_LOST = "{}: its colour profile is damaged or too large, and was left out; export it again"


def test_a_profile_and_xmp_beyond_all_sense_are_noted(tmp_path: Path) -> None:
    codes = np.full((20, 30, 3), 99, np.uint8)
    many = _packet("") + b" " * MAX_TAG_BYTES
    large = profiles.wide() + bytes(MAX_PROFILE_BYTES)
    tags = [(700, 1, len(many), many, True)]
    tifffile.imwrite(tmp_path / "a.tif", codes, photometric="rgb", iccprofile=large, extratags=tags)
    frame = read_frame(tmp_path / "a.tif")
    xmp_lost = PROFILE_LOST.format("a.tif").replace("colour profile", "XMP")
    assert frame.notes == (PROFILE_LOST.format("a.tif"), xmp_lost)


def test_xmp_that_cannot_be_carried_on_is_noted(tmp_path: Path) -> None:
    image = Image.fromarray(np.full((20, 30, 3), 99, np.uint8))
    for packet, words in (
        (_packet("")[:-200], "XMP is damaged"),
        (_packet('xmlns:n="http://ns.adobe.com/xmp/note/" n:HasExtendedXMP="9"'), "further segm"),
        (_packet(""), None),
    ):
        image.save(tmp_path / "a.jpg", xmp=packet)
        frame = read_frame(tmp_path / "a.jpg")
        assert [words in note for note in frame.notes] == ([True] if words else [])
        assert (frame.embedded.xmp is None) is (words == "XMP is damaged")
    history = f'xmlns:d="urn:d#" d:history="{"developed " * 9000}"'
    like = Frame(PIXELS, embedded=Embedded(xmp=_packet(history)))
    (said,) = without_room(tmp_path / "r.jpg", like, second=like)
    words = "its XMP is larger than a JPEG can hold and is left out; name a .tif to keep it"
    assert said == f"r.jpg: {words}"
    assert without_room(tmp_path / "r.png", like, second=like) == ()


def test_damaged_exif_is_noted_and_dropped_never_fatal(tmp_path: Path) -> None:
    """The block in a JPEG is broken byte by byte; the picture is read each time."""
    write_picture(tmp_path / "a.jpg", PIXELS, like=FRAME)
    data = (tmp_path / "a.jpg").read_bytes()
    start = data.index(b"Exif\0\0") + 6
    rng = np.random.default_rng(1)
    noted = 0
    for _ in range(150):
        broken = bytearray(data)
        for at in start + rng.integers(0, 250, 3):
            broken[at] = rng.integers(0, 256)
        (tmp_path / "b.jpg").write_bytes(broken)
        frame = read_frame(tmp_path / "b.jpg")
        noted += any("Exif" in note for note in frame.notes)
        write_picture(tmp_path / "c.tif", frame.pixels, like=frame)
    assert noted > 30


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(
    "odd", [os.fsdecode(b"B\xe4ume.tif"), "a\x01b\ufffe.tif", "a\nb & <c>.tif"]
)
def test_names_that_xml_does_not_take_leave_the_packet_sound(
    tmp_path: Path, name: str, odd: str
) -> None:
    embedded = Embedded(xmp=_packet('tiff:Copyright="Jo"'))
    like = Frame(PIXELS, name=odd, embedded=embedded)
    write_picture(tmp_path / name, PIXELS, like=like, second=Frame(PIXELS, name="fg.tif"))
    packet = read_frame(tmp_path / name).embedded.xmp
    assert packet is not None
    assert "Jo" in ET.fromstring(packet)[0][0].attrib.values()  # noqa: S314 - our own packet
    assert is_marked(tmp_path / name)
    assert xmp.properties_of(packet)["Background"][-5:] == odd[-5:].replace("\ufffe", "\ufffd")


def test_xmp_says_nothing_of_the_file_that_the_frame_came_from() -> None:
    stale = (
        'photoshop:ICCProfile="Wide" photoshop:ColorMode="1" tiff:ImageWidth="6000" '
        'tiff:ImageLength="4000" tiff:BitsPerSample="8" tiff:XResolution="72/1" '
        'tiff:YResolution="72/1" hdrgm:Version="1.0" xmpNote:HasExtendedXMP="0123456789ABCDEF"'
    )
    spaces = (
        f'xmlns:photoshop="{PHOTOSHOP}" xmlns:hdrgm="http://ns.adobe.com/hdr-gain-map/1.0/" '
        'xmlns:xmpNote="http://ns.adobe.com/xmp/note/"'
    )
    packet = _packet(f'{spaces} {stale} photoshop:Headline="Boughs" dc:format="image/tiff"')
    after, _ = xmp.merged(packet, {}, software="s", changed_at=datetime.now(UTC))
    for name in (word.partition("=")[0].encode() for word in stale.split()):
        assert name in packet
        assert name not in after
    assert b"Boughs" in after


def test_opposite_byte_order_reads_the_same() -> None:
    big = b"MM\0*" + (8).to_bytes(4, "big")
    big += (2).to_bytes(2, "big")
    big += (0x0112).to_bytes(2, "big") + (3).to_bytes(2, "big") + (1).to_bytes(4, "big")
    big += (8).to_bytes(2, "big") + bytes(2)
    big += (0x011A).to_bytes(2, "big") + (5).to_bytes(2, "big") + (1).to_bytes(4, "big")
    big += (38).to_bytes(4, "big") + bytes(4) + (600).to_bytes(4, "big") + (2).to_bytes(4, "big")
    found, dropped = ifd.parse(big)
    assert dropped == 0
    assert exif.orientation(found) == 8
    assert exif.number(found, exif.X_RESOLUTION) == 300


def test_a_comment_of_the_opposite_byte_order_stays_legible(tmp_path: Path) -> None:
    words = "Grüße vom Tor"
    for code, order in ((b"UNICODE\0", "utf-16-be"), (b"ASCII\0\0\0", "ascii")):
        text = words if order != "ascii" else "Gate"
        block = piexif.dump({"Exif": {37510: code + text.encode(order)}})
        assert block[6:8] == b"MM"
        Image.fromarray(np.full((20, 30, 3), 99, np.uint8)).save(tmp_path / "a.jpg", exif=block)
        frame = read_frame(tmp_path / "a.jpg")
        write_picture(tmp_path / "r.tif", frame.pixels, like=frame)
        with Image.open(tmp_path / "r.tif") as image:
            found = image.getexif().get_ifd(ifd.EXIF)[37510]
        assert found == code + text.encode(order.replace("be", "le"))


def test_a_circle_of_directories_ends() -> None:
    """The Exif pointer leads back to the directory that it stands in."""
    block = bytearray(ifd.dump_block({ifd.EXIF: {}}))
    block[18:22] = (8).to_bytes(4, "little")
    found, dropped = ifd.parse(bytes(block))
    assert dropped >= 1
    assert set(found) <= {ifd.EXIF}


def test_a_frame_that_no_camera_wrote_gets_exif_from_its_capture(tmp_path: Path) -> None:
    capture = Capture(
        f_number=2.8,
        exposure_time_s=1 / 250,
        iso=400,
        focal_length_mm=135,
        focus_distance_m=5.2,
        captured_at=datetime(2025, 10, 3, 18, 41, 7, 40_000, tzinfo=timezone(timedelta(hours=5.5))),
        camera="Vale One",
        lens="135 mm f/2",
        copyright="© 2025",
        flash_fired=False,
    )
    write_picture(tmp_path / "s.tif", PIXELS, like=Frame(PIXELS, capture))
    assert read_frame(tmp_path / "s.tif").capture == capture
    write_picture(tmp_path / "n.tif", PIXELS, like=Frame(PIXELS))
    assert read_frame(tmp_path / "n.tif").capture == Capture()
    far = Frame(PIXELS, Capture(focus_distance_m=float("inf")))
    write_picture(tmp_path / "f.tif", PIXELS, like=far)
    assert read_frame(tmp_path / "f.tif").capture.focus_distance_m == float("inf")


def test_private_leaves_out_what_raw_converters_write_and_a_position_that_is_misplaced(
    tmp_path: Path,
) -> None:
    """Tags 65000 and 65001: owner and serial number (common practice, no source)."""
    details = {
        65000: ifd.ascii_entry("Jo Fernhollow"),
        65001: ifd.ascii_entry("SN12345"),
        ifd.GPS: {1: ifd.ascii_entry("N"), 2: ifd.rational_entry((48, 1), (12, 1), (30, 1))},
    }
    packet = _packet('exif:gpsLatitude="48,12.5N" aux:Serialnumber="B-0816"')
    embedded = Embedded(exif=ifd.dump_block({ifd.EXIF: details}), xmp=packet)
    for private in (False, True):
        write_picture(
            tmp_path / "a.jpg", PIXELS, like=Frame(PIXELS, embedded=embedded), private=private
        )
        data = (tmp_path / "a.jpg").read_bytes()
        for secret in (b"Fernhollow", b"SN12345", b"48,12.5N", b"B-0816"):
            assert (secret in data) is not private
        again = read_frame(tmp_path / "a.jpg")
        assert again.embedded.exif is not None
        inside = ifd.parse(again.embedded.exif)[0][ifd.EXIF]
        assert isinstance(inside, dict)
        assert (ifd.GPS in inside) is not private


def test_the_last_moment_that_there_is() -> None:
    details = {
        exif.ORIGINAL_TIME: ifd.ascii_entry("9999:12:31 23:59:59"),
        exif.ORIGINAL_SUBSEC: ifd.ascii_entry("9999999"),
    }
    captured = exif.capture_of({ifd.EXIF: details}).captured_at
    assert captured is not None
    assert captured.isoformat() == "9999-12-31T23:59:59.999999"


@pytest.mark.parametrize(("tag", "value"), [(34866, 102400), (34865, 204800), (34867, 409600)])
def test_a_sensitivity_beyond_its_tag_is_read_from_the_others(tag: int, value: int) -> None:
    """Exif 3.0, 4.6.6: tag 34855 has 16 bits and holds 65535 where that is not enough."""
    details = {exif.ISO: ifd.short_entry(65535), tag: ifd.long_entry(value)}
    assert exif.capture_of({ifd.EXIF: details}).iso == value
    assert exif.capture_of({ifd.EXIF: {exif.ISO: ifd.short_entry(65535)}}).iso == 65535


def test_text_of_exif_3_is_read() -> None:
    """Exif 3.0, type 129: UTF-8."""
    words = "© 2026 Åsa Lindqvist-Moreau".encode() + b"\0"
    block = ifd.dump_block({exif.COPYRIGHT: ifd.Entry(129, len(words), words)})
    directory, dropped = ifd.parse(block)
    assert dropped == 0
    assert exif.capture_of(directory).copyright == "© 2026 Åsa Lindqvist-Moreau"
