"""`blendkit plan` from the line and from a photograph's tags."""

import json
import re
from pathlib import Path

import piexif
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from blendkit.cli.main import main
from blendkit.cli.plan import GIVEN

ORCHARD = (
    *("--focal-mm", "135", "--wide", "2", "--stopped", "16"),
    *("--foreground-at", "2.2m", "--subject-at", "4m", "--background-at", "14m"),
)


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["plan", *arguments])


def document(*arguments: str) -> dict[str, object]:
    done = run(*arguments, "--json")
    assert done.exit_code == 0, done.stderr
    loaded: dict[str, object] = json.loads(done.stdout)
    return loaded


@pytest.fixture
def photograph(tmp_path: Path) -> Path:
    """Write a small upright-held JPEG, tagged by another library: 200 mm, f/2.8, 6.5 m."""
    tags = {
        "0th": {piexif.ImageIFD.Orientation: 6},
        "Exif": {
            piexif.ExifIFD.FocalLength: (200, 1),
            piexif.ExifIFD.FNumber: (28, 10),
            piexif.ExifIFD.SubjectDistance: (65, 10),
            piexif.ExifIFD.ExposureTime: (1, 250),
            piexif.ExifIFD.ISOSpeedRatings: 400,
        },
    }
    path = tmp_path / "gate.jpg"
    Image.new("RGB", (60, 40), (90, 80, 70)).save(path, exif=piexif.dump(tags))
    return path


def test_the_newcomers_question_is_answered_in_one_command() -> None:
    done = run(*ORCHARD)
    assert done.exit_code == 0
    text = " ".join(done.stdout.split())
    assert "One frame is not enough" in text
    assert "background frame f/2 focused at 4.00 m" in text
    assert "foreground frame f/16 focused at 2.20 m" in text
    assert "The mid-ground gap lies between 2.32 and 3.95 m" in text
    assert "~ the mid-ground gap" in text
    assert done.stderr == ""


def test_units_do_not_matter() -> None:
    metres = document(*ORCHARD)
    mixed = document(
        *("--focal-mm", "13.5cm", "--wide", "f/2", "--foreground-at", "2200mm"),
        *("--subject-at", "400cm", "--background-at", "0.014km", "--sensor", "full-frame"),
    )
    for one, two in zip(metres["frames"], mixed["frames"], strict=True):  # type: ignore[call-overload]
        assert one["near_m"] == pytest.approx(two["near_m"], rel=1e-12)


def test_table_is_printed_and_in_the_document() -> None:
    assert "f/5.6" in run(*ORCHARD, "--table").stdout
    assert len(document(*ORCHARD, "--table")["table"]) == 8  # type: ignore[arg-type]
    assert "table" not in document(*ORCHARD)


def test_diagram_and_card_are_written_and_named(tmp_path: Path) -> None:
    svg, html = tmp_path / "blur.svg", tmp_path / "card.html"
    done = run(*ORCHARD, "--diagram", str(svg), "--card", str(html))
    assert done.exit_code == 0
    assert svg.read_text("utf-8").startswith("<svg")
    assert "Cautions" in html.read_text("utf-8")
    assert done.stderr == f"wrote {svg}\nwrote {html}\n"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["blur.svg", "card.html"]


def test_photograph_gives_lens_focus_size_and_exposure(photograph: Path) -> None:
    scene = document("--from", str(photograph), "--foreground-at", "3m")["scene"]
    assert isinstance(scene, dict)
    assert scene["focal_length_mm"] == 200
    assert scene["wide_f_number"] == 2.8
    assert scene["subject_at_m"] == scene["focus_wide_m"] == 6.5
    assert scene["pixels"] == [40, 60]
    assert (scene["exposure_time_s"], scene["iso"]) == (pytest.approx(0.004), 400)


def test_the_line_wins_over_the_photograph(photograph: Path) -> None:
    given = ("--focal-mm", "135", "--wide", "4", "--subject-at", "5", "--pixels", "6000x4000")
    scene = document("--from", str(photograph), *given)["scene"]
    assert isinstance(scene, dict)
    assert scene["focal_length_mm"] == 135
    assert scene["wide_f_number"] == 4
    assert scene["subject_at_m"] == 5
    assert scene["focus_wide_m"] is None, "the photograph was focused on another subject"
    again = document("--from", str(photograph), "--focal-mm", "135", "--wide", "4")["scene"]
    assert isinstance(again, dict)
    assert (again["subject_at_m"], again["focus_wide_m"]) == (6.5, 6.5)
    assert scene["pixels"] == [6000, 4000]


def test_another_f_number_than_the_photographs_keeps_its_light(photograph: Path) -> None:
    """From f/2.8 at 1/250 s (1/256) to f/1.4 two steps: 1/1024 s, displayed as 1/1000 s."""
    done = run("--from", str(photograph), "--wide", "1.4", "--json")
    scene = json.loads(done.stdout)["scene"]
    assert (scene["exposure_time_s"], scene["iso"]) == (pytest.approx(1 / 1000), 400)
    assert done.stderr == (
        f"{photograph}: f/2.8, 1/250 s, ISO 400 as recorded is planned as f/1.4, 1/1000 s,"
        " ISO 400, as bright\n"
    )
    refused = run("--from", str(photograph), "--wide", "1.4", "--foreground-at", "9")
    assert refused.stderr.count("\n") == 1
    assert run("--from", str(photograph)).stderr == ""


def test_photograph_without_tags_names_what_to_give(tmp_path: Path) -> None:
    path = tmp_path / "bare.png"
    Image.new("RGB", (60, 40)).save(path)
    done = run("--from", str(path), "--subject-at", "4m", "--wide", "2")
    assert done.exit_code == 2
    assert done.stderr == (
        f"blendkit: {path}: does not record what --focal-mm says; give it, such as --focal-mm 135\n"
    )


def test_raw_without_the_extra_names_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "gate.dng"
    path.write_bytes(b"II*\0" + bytes(60))
    monkeypatch.setattr("blendkit.files.raw.available", lambda: False)
    done = run("--from", str(path))
    assert done.exit_code == 2
    assert done.stderr == (
        "blendkit: gate.dng: is a camera RAW; install blendkit[raw] to read it\n"
    )


@pytest.mark.parametrize(
    ("extra", "told"),
    [
        (["--foreground-at", "5"], "--foreground-at = 5: must lie in front of the subject"),
        (["--background-at", "3"], "--background-at = 3: must lie behind the subject"),
        (["--foreground-at", "100mm"], "--foreground-at = 0.1: must lie beyond the focal length"),
        (["--focal-mm", "0"], "--focal-mm = 0"),
        (["--focal-mm", "-135"], "--focal-mm = -135"),
        (["--subject-at", "nan"], "--subject-at = nan"),
        (["--subject-at", "4 leagues"], "--subject-at = 4 leagues"),
        (["--sensor", "apsc"], "--sensor = apsc: choose full-frame, aps-c, four-thirds, 44x33"),
        (["--wide", "0.4"], "--wide = 0.4: allowed is 0.5 to 128"),
        (["--stopped", "1.4"], "--stopped = 1.4: must not be below --wide = 2"),
        (["--stopped", "2"], "both frames are f/2"),
        (["--print", "60"], "--print = 60"),
        (["--shutter", "soon"], "--shutter = soon"),
        (["--diagram", "blur.png"], "blur.png: end the name in .svg"),
        (["--from", "nowhere.jpg"], "nowhere.jpg: there is no such file"),
    ],
)
def test_bad_input_is_one_line_and_exit_code_two(extra: list[str], told: str) -> None:
    done = run("--focal-mm", "135", "--wide", "2", "--subject-at", "4", *extra)
    assert done.exit_code == 2
    assert done.stdout == ""
    assert done.stderr.startswith(f"blendkit: {told}")
    assert done.stderr.count("\n") == 1


def test_bad_input_writes_nothing(tmp_path: Path) -> None:
    card = tmp_path / "card.html"
    assert run(*ORCHARD, "--wide", "0", "--card", str(card)).exit_code == 2
    assert list(tmp_path.iterdir()) == []


def test_no_refusal_is_about_a_stopped_frame_that_nobody_gave() -> None:
    given = ("--focal-mm", "135", "--subject-at", "4", "--wide", "22")
    plan = document(*given, "--foreground-at", "2", "--focus-stopped", "2")
    assert plan["scene"]["stopped_f_number"] == 22  # type: ignore[index]
    assert "--stopped" not in run(*given).stderr
    assert "both frames are f/22 focused at 4.00 m" in run(*given).stderr


@pytest.mark.parametrize(
    ("recorded", "focal", "told"),
    [
        ((15, 100), (), "records a focus at 0.150 m, inside the focal length of 200 mm"),
        ((0xFFFFFFFF, 1), (), "records a focus at infinity, where no subject is"),
        ((65, 10), ("--focal-mm", "7000"), "records a focus at 6.50 m, inside the focal length"),
    ],
)
def test_a_photograph_focused_where_no_subject_is_is_named(
    photograph: Path, recorded: tuple[int, int], focal: tuple[str, ...], told: str
) -> None:
    tags = piexif.load(str(photograph))
    tags["Exif"][piexif.ExifIFD.SubjectDistance] = recorded
    piexif.insert(piexif.dump(tags), str(photograph))
    done = run("--from", str(photograph), *focal)
    assert done.exit_code == 2
    assert done.stderr.startswith(f"blendkit: {photograph}: {told}")
    assert done.stderr.endswith("give --subject-at, such as --subject-at 4m\n")
    assert run("--from", str(photograph), "--subject-at", "4m").exit_code == 0


@pytest.mark.parametrize(("flag", "missing"), [(0, "--focal-mm"), (2, "--wide")])
def test_what_must_be_given_is_named(flag: int, missing: str) -> None:
    given = ["--focal-mm", "135", "--wide", "2", "--subject-at", "4"]
    del given[flag : flag + 2]
    assert run(*given).stderr.startswith(f"blendkit: {missing} is missing")


def test_every_option_is_in_the_help() -> None:
    text = run("--help").output
    flags = [given.flag for given in GIVEN.values()]
    for flag in (*flags, "--from", "--table", "--diagram", "--card", "--json"):
        assert f"  {flag}" in text
    assert "Never look at or near the sun" in " ".join(text.split())


def photograph_of(path: Path, size: tuple[int, int], focal_mm: int, equivalent_mm: int) -> Path:
    """Write a photograph of 2.8 and 4 m with a 35 mm equivalent (Exif 3.0, tag 41989)."""
    tags = {
        "Exif": {
            piexif.ExifIFD.FNumber: (28, 10),
            piexif.ExifIFD.FocalLength: (focal_mm, 1),
            piexif.ExifIFD.FocalLengthIn35mmFilm: equivalent_mm,
            piexif.ExifIFD.SubjectDistance: (4, 1),
        }
    }
    Image.new("RGB", size, (90, 80, 70)).save(path, exif=piexif.dump(tags))
    return path


@pytest.mark.parametrize(
    ("size", "focal_mm", "equivalent_mm", "sensor_mm", "cropped"),
    [
        ((60, 40), 90, 135, [24.0, 16.0], False),
        ((40, 60), 135, 135, [36.0, 24.0], False),
        ((80, 60), 75, 150, [17.3, 13.0], False),  # Four Thirds as published: 17.3 x 13.0 mm
        ((80, 60), 5, 26, [6.7, 5.0], False),  # 43.27 x 5/26 = 8.32 mm across the corners
        ((64, 80), 135, 135, [36.0, 24.0], True),
        ((60, 60), 135, 135, [36.0, 24.0], True),
        ((60, 60), 75, 150, [17.3, 13.0], True),
        ((80, 60), 135, 135, [36.0, 24.0], True),
        ((80, 45), 90, 135, [24.0, 16.0], True),
    ],
)
def test_a_photographs_sensor_has_the_diagonal_of_its_35_mm_equivalent(
    tmp_path: Path,
    size: tuple[int, int],
    focal_mm: int,
    equivalent_mm: int,
    sensor_mm: list[float],
    *,
    cropped: bool,
) -> None:
    path = photograph_of(tmp_path / "gate.jpg", size, focal_mm, equivalent_mm)
    done = run("--from", str(path), "--foreground-at", "2m", "--json")
    assert json.loads(done.stdout)["scene"]["sensor_mm"] == sensor_mm
    assert ("is taken for a crop of a sensor of" in done.stderr) is cropped
    width, height = sensor_mm
    assert not cropped or f"{width:g} x {height:g} mm" in done.stderr


def test_a_crop_of_four_to_five_takes_its_part_of_the_sensor(tmp_path: Path) -> None:
    """A sensor held upright is 24 mm wide, and 5/4 of that are 30 mm."""
    path = photograph_of(tmp_path / "gate.jpg", (64, 80), 135, 135)
    text = run("--from", str(path)).stdout
    assert "Sensor 24 x 36 mm, 24 x 30 mm of it in the picture" in text


def test_a_sensor_on_the_line_wins_and_nothing_is_assumed(tmp_path: Path) -> None:
    path = photograph_of(tmp_path / "gate.jpg", (64, 80), 90, 135)
    done = run("--from", str(path), "--sensor", "36x24", "--json")
    assert json.loads(done.stdout)["scene"]["sensor_mm"] == [36.0, 24.0]
    assert done.stderr == ""


@pytest.mark.parametrize(
    ("flag", "text", "example"),
    [
        ("--pixels", "24", "6000x4000"),
        ("--pixels", "0x24", "6000x4000"),
        ("--sensor", "0x24", "36x24"),
        ("--print", "60", "60x40"),
        ("--iso", "0", "100"),
        ("--sway-mm-s", "0", "5"),
        ("--coc-mm", "0", "0.03"),
        ("--pupil", "0", "0.8"),
        ("--wide", "0", "2"),
        ("--stopped", "0", "16"),
        ("--focal-mm", "0", "135mm"),
        ("--viewing", "0", "50cm"),
        ("--subject-at", "0", "8.2m"),
        ("--shutter", "0", "1/500"),
    ],
)
def test_the_example_in_a_refusal_is_one_that_the_option_takes(
    flag: str, text: str, example: str
) -> None:
    given = ("--focal-mm", "135", "--wide", "2", "--subject-at", "4", "--print", "60x40")
    told = run(*given, flag, text).stderr
    assert re.search(rf"such as {re.escape(example)}(?![\w.])", told)
    if flag == "--coc-mm":
        given = given[:-2]  # the standard is one of the two
    assert run(*given, flag, example).exit_code == 0


@pytest.mark.parametrize("pixels", ["4000x4000", "8192x5464", "4000x6000"])
def test_no_line_of_the_answer_is_wider_than_promised(pixels: str) -> None:
    text = run(*ORCHARD, "--pixels", pixels, "--table").stdout
    assert max(len(line) for line in text.splitlines()) <= 88
