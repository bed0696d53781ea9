"""Bridge frames of a list and repairs kept in a sidecar reach the pair that they belong to."""

import json
import re
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from blendkit.batch.fingerprints import Checksums, fingerprint
from blendkit.batch.job import merge_job
from blendkit.batch.mend import modes_for
from blendkit.batch.pairs_file import REPAIRS, Pair, read_pairs
from blendkit.batch.records import Job, Outcome
from blendkit.files import read_frame, write_grey, write_picture
from blendkit.frame import Capture, Frame, Source
from blendkit.repair import MODES
from blendkit.sidecar import Sidecar
from blendkit.simulate.metrics import psnr

sys.path.insert(0, str(Path(__file__).parents[1] / "midground"))
from warped_ground import Lens, photograph, receding, with_noise

SIZE = (480, 320)
FAR, NEAR, MIDDLE = (Lens(135, n, s, SIZE[0]) for n, s in ((4.6, 11.0), (4.6, 4.0), (16.0, 5.9)))
KEPT = ({"flag": "soft-midground", "mode": "taper"},)


@pytest.fixture(scope="module")
def shoot(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, np.ndarray, np.ndarray]:
    """Ground in focus at 11 m and at 4 m, soft between, and a bridge frame at f/16.

    Returns the folder, the bridge frame without noise, and where both frames are soft.
    """
    folder = tmp_path_factory.mktemp("ground")
    view = receding(SIZE, 3, surface="gravel", horizon=0.3)
    for name, lens, iso in (("far", FAR, 100), ("near", NEAR, 100), ("middle", MIDDLE, 400)):
        pixels = with_noise(photograph(view, lens, seed=9), iso, seed=int(iso + lens.f_number))
        capture = Capture(f_number=lens.f_number, iso=iso, focal_length_mm=135.0)
        write_picture(folder / f"{name}.tif", pixels, like=Frame(pixels, capture, name))
    far, near = (lens.disc_px(view.distance_m) for lens in (FAR, NEAR))
    write_grey(folder / "matte.png", (np.abs(near) < np.abs(far)).astype(np.float32))
    (folder / "pairs.toml").write_text(
        '[[pair]]\nname = "path"\nbackground = "far.tif"\nforeground = "near.tif"\n'
        'matte = "matte.png"\nbridges = ["middle.tif"]\n'
    )
    return folder, photograph(view, MIDDLE, seed=9), (far > 1.2) & (near < -1.2)


def done(pair: Pair, out: Path, sidecar: dict[str, object] | None = None) -> Outcome:
    (out / ".blendkit").mkdir(parents=True)
    if sidecar is not None:
        document = {"schema": "blendkit.sidecar/1", **sidecar}
        (out / f"{pair.name}.blendkit.json").write_text(json.dumps(document))
    return merge_job(Job(pair, out / f"{pair.name}.tif", out / ".blendkit", "print"))


def report(out: Path) -> dict[str, list[dict[str, object]]]:
    return json.loads((out / "path.report.json").read_text())


def test_a_bridge_frame_of_the_list_fills_the_gap(
    shoot: tuple[Path, np.ndarray, np.ndarray], tmp_path: Path
) -> None:
    folder, truth, zone = shoot
    (pair,) = read_pairs(folder / "pairs.toml")
    outcome = done(pair, tmp_path / "with")
    document = report(tmp_path / "with")
    assert [(one["mode"], one["applied"]) for one in document["repairs"]] == [("bridge", True)]
    assert "bridge" in {item["role"] for item in document["inputs"]}
    assert str(folder / "middle.tif") in outcome.inputs
    assert not [flag for flag in document["flags"] if flag["kind"] == "soft-midground"]
    with Image.open(tmp_path / "with" / "path.sources.png") as sources:
        assert (np.asarray(sources) == Source.BRIDGE_FRAME).mean() > 0.02

    after = psnr(read_frame(tmp_path / "with" / "path.tif").pixels, truth, region=zone)
    frames = (read_frame(path).pixels for path in (pair.background, pair.foreground))
    assert max(psnr(frame, truth, region=zone) for frame in frames) + 3 < after < 60


def test_a_repair_kept_in_the_sidecar_is_carried_out_and_a_bad_bridge_costs_nothing_else(
    shoot: tuple[Path, np.ndarray, np.ndarray], tmp_path: Path
) -> None:
    folder, *_ = shoot
    (pair,) = read_pairs(folder / "pairs.toml")
    (tmp_path / "small.png").write_bytes((folder / "matte.png").read_bytes()[:100])
    aside = tmp_path / "aside.tif"
    again = read_frame(pair.background)  # nothing is held aside here: one more exposure
    write_picture(aside, with_noise(again.pixels, 100, seed=5), like=again)
    spoilt = replace(pair, bridges=(tmp_path / "small.png",), clear=aside)
    unheard_of = {"flag": "soft-midground", "mode": "polish"}
    kept = ({"flag": "soft-midground", "mode": "bridge"}, unheard_of, *KEPT)
    outcome = done(spoilt, tmp_path / "out", {"repairs": kept})
    assert outcome.status == "needs-a-look"
    assert outcome.reason.startswith("a bridge frame was not used: small.png")
    more = re.search(r"\(and (\d+) more\)$", outcome.reason)
    assert more, "no frame for a bridge, and no such repair, are told too"
    assert int(more[1]) >= 2
    assert "\n" not in outcome.reason
    document = report(tmp_path / "out")
    tried = document["repairs"]
    assert [(one["mode"], one["applied"]) for one in tried] == [("taper", True)]
    assert "clear" in {item["role"] for item in document["inputs"]}


def test_what_the_sidecar_keeps_wins_over_the_list() -> None:
    pair = Pair("a", Path("a.tif"), Path("b.tif"), bridges=(Path("c.tif"),))
    assert modes_for(pair, Sidecar()) == ("bridge",)
    assert modes_for(replace(pair, bridges=()), Sidecar()) == ()
    assert modes_for(replace(pair, repair="auto"), Sidecar()) == ("auto",)
    assert modes_for(replace(pair, repair="none"), Sidecar()) == ()
    assert modes_for(replace(pair, repair="none"), Sidecar(repairs=KEPT)) == ("taper",)


def test_the_list_knows_every_mode_of_repair() -> None:
    assert set(REPAIRS) == {*MODES, "none"}


def test_the_fingerprint_holds_bridge_clear_frame_and_repairs(tmp_path: Path) -> None:
    for name in "abcd":
        (tmp_path / name).write_text(name)
    a, b, c, d = (tmp_path / name for name in "abcd")
    plain = Pair("a", a, b)
    bridged = replace(plain, bridges=(c,))
    cases = [
        (plain, Sidecar()),
        (bridged, Sidecar()),
        (replace(plain, bridges=(d,)), Sidecar()),
        (replace(plain, clear=c), Sidecar()),
        (replace(bridged, repair="none"), Sidecar()),
        (bridged, Sidecar(repairs=KEPT)),
    ]
    prints = [fingerprint(pair, sidecar, Checksums()) for pair, sidecar in cases]
    assert len(set(prints)) == len(cases)
    c.write_text("another")
    assert fingerprint(bridged, Sidecar(), Checksums()) != prints[1]
    assert fingerprint(bridged, Sidecar(decision="accepted"), Checksums()) == fingerprint(
        bridged, Sidecar(), Checksums()
    )


def test_what_was_painted_and_undone_makes_no_other_result(tmp_path: Path) -> None:
    for name in ("w.tif", "s.tif", "s.json"):
        (tmp_path / name).write_bytes(name.encode())
    pair = Pair("a", tmp_path / "w.tif", tmp_path / "s.tif")
    undone = Sidecar(size=(60, 40))
    assert fingerprint(pair, undone, Checksums()) == fingerprint(pair, Sidecar(), Checksums())
    listed = replace(pair, strokes=tmp_path / "s.json")
    assert fingerprint(listed, undone, Checksums()) != fingerprint(listed, Sidecar(), Checksums())
